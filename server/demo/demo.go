package demo

import (
	"container/heap"
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/timestamppb"
)

// Options of a demo year.
type Options struct {
	Shop  string          // id of the shop to open; "harrow" unless said
	Seed  uint64          // which of the possible years
	Heats int             // how many heats; 72 unless said
	End   time.Time       // the last day; today unless said
	Clean bool            // place no mistakes
	Clock func(time.Time) // told the date of each write before it is sent, so that a server in the same process can keep to it
}

// Report says what was made.
type Report struct {
	Heats    int
	Writes   uint64
	Mistakes []Mistake
}

// Mistake is one the seed placed: what was done wrong and what it was in truth.
type Mistake struct {
	Kind  string // swapped digits, wrong heat, spill not booked
	Heat  string
	Entry string // resource name of the wrong entry, if there is one
	What  string
	Kg    float64 // how far off the book is by it
}

// year is the demo in the making.
type year struct {
	*api
	world
	o      Options
	start  time.Time
	queue  events
	n      int
	stock  []*pile
	report Report
	all    []*heat
	plan   map[int]string // heat number → mistake to place in it
	fuel   world          // draws what is burned, by itself

	ottersCast int // molds given to the commission
}

// pile is a lot as it truly is.
type pile struct {
	id     string
	alloy  string
	form   string // ingot, returns, pig
	kg     float64
	pieces int
	from   int // heat number
}

// Seed makes the year. It stops at the first error.
func Seed(ctx context.Context, conn grpc.ClientConnInterface, o Options) (Report, error) {
	if o.Shop == "" {
		o.Shop = "harrow"
	}
	if o.Heats == 0 {
		o.Heats = 72
	}
	if o.End.IsZero() {
		o.End = time.Now()
	}
	o.End = o.End.UTC().Truncate(time.Hour)
	draws := func(of uint64) world {
		return world{rand.New(rand.NewPCG(o.Seed, of))} //nolint:gosec // a demo needs the same year again, not secrets
	}
	y := &year{api: newAPI(conn, o), world: draws(0x52454d454c54), fuel: draws(0x4655454c), o: o, start: o.End.AddDate(-1, 0, 0), plan: map[int]string{}}
	if err := y.setUp(ctx); err != nil {
		return y.report, err
	}
	if !o.Clean {
		y.placeMistakes()
	}
	y.schedule(ctx)
	for y.queue.Len() > 0 {
		e := heap.Pop(&y.queue).(event)
		if e.at.After(o.End.Add(-12 * time.Hour)) { // a heat takes some hours; the rest of the story is still to come
			break
		}
		if err := ctx.Err(); err != nil {
			return y.report, err
		}
		if err := e.do(e.at); err != nil {
			return y.report, err
		}
	}
	y.report.Heats, y.report.Writes = len(y.all), y.sent
	return y.report, nil
}

// placeMistakes chooses, by the seed alone, which heats get which mistake.
func (y *year) placeMistakes() {
	kinds := []string{swapped, swapped, swapped, wrongHeat, wrongHeat, unbooked}
	settled := y.o.Heats * 8 / 10 // so that most of them are in heats that are settled
	for _, k := range kinds {
		for range 100 {
			if n := 4 + y.IntN(max(1, settled-4)); y.plan[n] == "" {
				y.plan[n] = k
				break
			}
		}
	}
}

// schedule spreads the heats over the year's working days.
func (y *year) schedule(ctx context.Context) {
	days := y.o.End.Sub(y.start).Hours()/24 - 6
	for n := 1; n <= y.o.Heats; n++ {
		day := 6 + (float64(n)-0.5+y.between(-0.3, 0.3))*days/float64(y.o.Heats)
		at := y.start.Add(time.Duration(day*24) * time.Hour)
		at = time.Date(at.Year(), at.Month(), at.Day(), 14, 0, 0, 0, time.UTC) // nine in the morning there
		switch at.Weekday() {
		case time.Saturday:
			at = at.AddDate(0, 0, -1)
		case time.Sunday:
			at = at.AddDate(0, 0, 1)
		}
		h := &heat{year: y, n: n, id: fmt.Sprint(n), metal: y.pickMetal(n), at: at}
		y.all = append(y.all, h)
		y.after(at, -time.Duration(y.between(3, 6)*24)*time.Hour, func(t time.Time) error { return h.prepare(ctx, t) })
	}
	for q := 1; q <= 3; q++ { // a stocktake each quarter
		at := y.start.AddDate(0, 3*q, 0).Add(16 * time.Hour)
		y.after(at, 0, func(t time.Time) error { return y.takeStock(ctx, t) })
	}
	y.order(ctx)
	y.offers(ctx)
	y.commission(ctx)
	y.after(y.start, 40*24*time.Hour, func(t time.Time) error { return y.strangeMetal(ctx, t) })
}

func (y *year) pickMetal(n int) metal {
	if n <= len(metals) { // each alloy early in the year, so that each has returns
		return metals[n-1]
	}
	r := y.Float64()
	for _, m := range metals {
		if r -= m.share; r < 0 {
			return m
		}
	}
	return metals[0]
}

// after queues something.
func (y *year) after(at time.Time, d time.Duration, do func(time.Time) error) {
	y.n++
	heap.Push(&y.queue, event{at.Add(d), y.n, do})
}

// event is something that happens at a time; equal times keep their order.
type event struct {
	at time.Time
	n  int
	do func(time.Time) error
}

type events []event

func (q events) Len() int { return len(q) }
func (q events) Less(i, j int) bool {
	return q[i].at.Before(q[j].at) || q[i].at.Equal(q[j].at) && q[i].n < q[j].n
}
func (q events) Swap(i, j int) { q[i], q[j] = q[j], q[i] }

// Push implements heap.Interface.
func (q *events) Push(x any) { *q = append(*q, x.(event)) }

// Pop implements heap.Interface.
func (q *events) Pop() any {
	old := *q
	e := old[len(old)-1]
	*q = old[:len(old)-1]
	return e
}

func hours(h float64) time.Duration { return time.Duration(math.Round(h*60)) * time.Minute }

func protoName(s string) protoreflect.Name    { return protoreflect.Name(s) }
func protoString(s string) protoreflect.Value { return protoreflect.ValueOfString(s) }
func protoMessage(t *timestamppb.Timestamp) protoreflect.Value {
	return protoreflect.ValueOfMessage(t.ProtoReflect())
}

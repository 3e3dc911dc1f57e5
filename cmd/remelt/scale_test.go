package main

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/client"
	"example.org/remelt/ledger/unit"
)

// cable is a pair of pseudo terminals that socat joins: what is written at one end is
// read at the other, as over a serial cable.
type cable struct {
	t         *testing.T
	end, here string // the scale's end, and the one that is read
	socat     *exec.Cmd
	to        *os.File
}

// newCable skips where socat is missing; with REMELT_CI=1 that is a failure.
func newCable(t *testing.T) *cable {
	t.Helper()
	if _, err := exec.LookPath("socat"); err != nil {
		if os.Getenv("REMELT_CI") == "1" {
			t.Fatal("socat is not installed, so no serial line can be tried")
		}
		t.Skip("socat is not installed: no serial line is tried")
	}
	dir := t.TempDir()
	c := &cable{t: t, end: filepath.Join(dir, "scale"), here: filepath.Join(dir, "port")}
	c.plug()
	t.Cleanup(c.unplug)
	return c
}

func (c *cable) plug() {
	c.t.Helper()
	c.socat = exec.Command("socat", "pty,raw,echo=0,link="+c.end, "pty,raw,echo=0,link="+c.here)
	if err := c.socat.Start(); err != nil {
		c.t.Fatal(err)
	}
	for range 200 {
		_, errEnd := os.Stat(c.end)
		_, errHere := os.Stat(c.here)
		if errEnd == nil && errHere == nil {
			var err error
			if c.to, err = os.OpenFile(c.end, os.O_WRONLY, 0); err == nil {
				return
			}
		}
		time.Sleep(20 * time.Millisecond)
	}
	c.t.Fatal("socat made no pair of terminals")
}

func (c *cable) unplug() {
	_ = c.to.Close()
	_ = c.socat.Process.Kill()
	_ = c.socat.Wait()
	_ = os.Remove(c.end)
	_ = os.Remove(c.here)
}

// says sends lines as the scale would.
func (c *cable) says(lines ...string) {
	c.t.Helper()
	if _, err := io.WriteString(c.to, strings.Join(lines, "\r\n")+"\r\n"); err != nil {
		c.t.Fatal(err)
	}
}

// stands says a weight until it must be believed.
func (c *cable) stands(weight string) { c.t.Helper(); c.says("ST,GS,"+weight, "ST,GS,"+weight) }

// moves is a weight that does not stand still yet.
func (c *cable) moves(weight string) { c.t.Helper(); c.says("US,GS,"+weight, "US,GS,"+weight) }

// spoken is what a command that goes on says meanwhile.
type spoken struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (s *spoken) Write(p []byte) (int, error) { s.mu.Lock(); defer s.mu.Unlock(); return s.b.Write(p) }

func (s *spoken) String() string { s.mu.Lock(); defer s.mu.Unlock(); return s.b.String() }

// reads is a scale command under way.
type reads struct {
	t         *testing.T
	out, errs spoken
	typed     *io.PipeWriter
	stop      context.CancelFunc
	ended     chan int
}

func (l *lossy) scale(args ...string) *reads {
	l.t.Helper()
	ctx, stop := context.WithCancel(context.Background())
	in, typed := io.Pipe()
	r := &reads{t: l.t, typed: typed, stop: stop, ended: make(chan int, 1)}
	a := &app{in: in, out: &r.out, err: &r.errs, now: time.Now}
	a.patch = func(c *client.Config) {
		c.Wait, c.Tries = time.Millisecond, 2
		c.Dial = append(c.Dial, grpc.WithChainUnaryInterceptor(func(ctx context.Context, method string, req, reply any, conn *grpc.ClientConn, call grpc.UnaryInvoker, opts ...grpc.CallOption) error {
			err := call(ctx, method, req, reply, conn, opts...)
			if l.lose != nil && l.lose(filepath.Base(method), 0) {
				err = status.Error(codes.Unavailable, "the answer was lost")
			}
			return err
		}))
	}
	go func() {
		r.ended <- a.run(ctx, append([]string{"scale", "--server", l.address, "--who", "mara"}, args...))
	}()
	l.t.Cleanup(func() { stop(); _ = typed.Close() })
	return r
}

// until waits for words on standard output or error.
func (r *reads) until(words string) {
	r.t.Helper()
	for range 600 {
		if strings.Contains(r.out.String()+r.errs.String(), words) {
			return
		}
		time.Sleep(25 * time.Millisecond)
	}
	r.t.Fatalf("it never says %q; it says:\n%s%s", words, r.out.String(), r.errs.String())
}

// ends stops it, as ctrl-C does.
func (r *reads) ends() (code int) {
	r.t.Helper()
	r.stop()
	select {
	case code = <-r.ended:
	case <-time.After(30 * time.Second):
		r.t.Fatal("it does not end")
	}
	return code
}

// weighed lists what is in the book from a scale, as scale, net, in order.
func (l *lossy) weighed() (all []string) {
	l.t.Helper()
	c, err := client.Dial(client.Config{Address: l.address})
	if err != nil {
		l.t.Fatal(err)
	}
	defer c.Close()
	got, err := c.Entries.ListEntries(l.t.Context(), &pb.ListEntriesRequest{Parent: "shops/harrow", View: pb.EntryView_ENTRY_VIEW_FULL, PageSize: 200})
	if err != nil {
		l.t.Fatal(err)
	}
	for _, e := range got.GetEntries() {
		if e.GetKind() == "weigh-in" {
			w := e.GetWeighings()[0]
			all = append(all, fmt.Sprint(last(w.GetScale()), " ", unit.FormatMass(w.GetNet().GetMg(), unit.KG, 0)))
		}
	}
	return all
}

const lineOfFloor = "ST,GS,{weight}{unit}"

func (l *lossy) must(args ...string) {
	l.t.Helper()
	if code, out, errs := l.run("", args...); code != 0 {
		l.t.Fatalf("%v: status %d: %s%s", args, code, out, errs)
	}
}

// Each piece that is put on the scale is in the book once, through everything that a
// line and a hand do.
func TestScaleWeighsIn(t *testing.T) {
	c := newCable(t)
	l := newLossy(t)
	l.must("set", "scale", "floor", "--line", lineOfFloor, "--capacity", "150 kg", "--serial", "9600 7E1")
	r := l.scale("floor", "--port", c.here, "--alloy", "C87300", "--form", "cup", "--place", "bin-3")
	r.until("floor scale is listened to on " + c.here + ", 9600 7E1")

	c.stands("+ 9.99 kg") // lies there from before
	r.until("something lies on floor scale already")
	c.stands("+ 0.00 kg")
	c.moves("+ 6.10 kg")
	c.says("\x00\xff\xfe\x07garbage", "ST,GS,OL kg", "------")
	c.stands("+12.34 kg")
	r.until("12340 g")
	c.stands("+12.34 kg")
	c.stands("+12.36 kg") // a touch
	c.stands("+20.00 kg") // another on top of it
	r.until("says 20.00 kg now, which is not taken")
	c.stands("+ 0.02 kg")
	c.says(strings.Repeat("\x55", 1<<20)) // no end of a line for a megabyte
	r.until("has no ends of lines")
	c.stands("+ 3.2 kg")
	r.until("3200 g")
	c.stands("- 5.00 kg")
	r.until("set it to zero")
	c.stands("+ 0.00 kg")
	c.stands("+ 7.05 lb") // somebody pressed the key for the unit
	r.until("the book knows it as a scale that reads to so many g")
	c.stands("+ 7.05 pcs")
	r.until("says 7.05 pcs, which is not taken")
	c.stands("+ 0.00 kg")
	c.stands("+999.00 kg")
	r.until("more than it can weigh")
	c.stands("+ 0.00 kg")
	c.stands("+ 4.40 kg")
	r.until("4400 g")
	c.unplug()
	r.until("is gone")
	c.plug()
	r.until("is back")
	c.stands("+ 4.40 kg") // still the same
	c.stands("+ 0.00 kg")
	c.stands("+ 2.20 kg")
	r.until("2200 g")
	for _, line := range []string{"undo\n", "1.1 kg\n"} { // typed meanwhile
		if _, err := io.WriteString(r.typed, line); err != nil {
			t.Fatal(err)
		}
	}
	r.until("taken back: 2200 g")
	r.until("1100 g")
	if code := r.ends(); code != 0 {
		t.Errorf("status %d: %s", code, r.errs.String())
	}
	if got, want := l.weighed(), []string{"floor 12.340 kg", "floor 3.200 kg", "floor 4.400 kg", "floor 2.200 kg", "floor 1.100 kg"}; !slices.Equal(got, want) {
		t.Errorf("in the book are %q, not %q", got, want)
	}
	l.must("verify")
}

// While no answer comes pieces wait in order, and each is in the book once, also when
// it was the answer that was lost.
func TestScaleWithoutAnswers(t *testing.T) {
	c := newCable(t)
	l := newLossy(t)
	l.must("set", "scale", "floor", "--line", lineOfFloor)
	var mu sync.Mutex
	lost, losing := 0, true
	l.lose = func(method string, _ int) bool {
		mu.Lock()
		defer mu.Unlock()
		if method == "WeighIn" && losing {
			lost++
			return true
		}
		return false
	}
	r := l.scale("floor", "--port", c.here, "--alloy", "C87300", "--tare", "2 kg", "--each")
	r.until("is listened to")
	for _, w := range []string{"+ 3.00 kg", "+ 4.00 kg", "+ 5.00 kg"} {
		c.stands("+ 0.00 kg")
		c.stands(w)
	}
	r.until("what is weighed meanwhile waits here")
	mu.Lock()
	losing = false
	mu.Unlock()
	r.until("3 pieces")
	if code := r.ends(); code != 0 || lost == 0 {
		t.Errorf("status %d, %d answers lost: %s", code, lost, r.errs.String())
	}
	if got, want := l.weighed(), []string{"floor 1.000 kg", "floor 2.000 kg", "floor 3.000 kg"}; !slices.Equal(got, want) {
		t.Errorf("in the book are %q, not %q", got, want)
	}
}

// A piece that is refused is told, and nothing of it is recorded; what was not sent
// when it is stopped is told too.
func TestScaleRefusedAndStopped(t *testing.T) {
	c := newCable(t)
	l := newLossy(t)
	l.must("set", "scale", "floor", "--line", lineOfFloor)
	r := l.scale("floor", "--port", c.here, "--alloy", "C87300", "--place", "nowhere")
	r.until("is listened to")
	c.stands("0.00 kg")
	c.stands("3.00 kg")
	r.until("not recorded")
	if code := r.ends(); code != exitRefused {
		t.Errorf("status %d: %s", code, r.errs.String())
	}
	for _, x := range []struct {
		says string
		args []string
	}{
		{"--port \"/nowhere\"", []string{"floor", "--port", "/nowhere", "--alloy", "C87300"}},
		{"to weigh pieces in by themselves", []string{"floor", "--port", c.here, "--place", "bin-3"}},
		{"--lines 1", []string{"floor", "--port", c.here, "--lines", "1"}},
		{"--empty", []string{"floor", "--port", c.here, "--empty", "little"}},
		{"--unit", []string{"floor", "--port", c.here, "--unit", "kg"}},
		{"nosuch", []string{"nosuch", "--port", c.here}},
		{"--port /dev/", []string{"floor"}},
	} {
		r := l.scale(x.args...)
		if code := <-r.ended; code != exitUsage && code != exitNotFound || !strings.Contains(r.errs.String(), x.says) {
			t.Errorf("%q: status %d: %s", x.args, code, r.errs.String())
		}
	}
	l.must("set", "scale", "bench", "bench scale", "--division", "1 g")
	if r := l.scale("bench", "--port", c.here); <-r.ended != exitUsage || !strings.Contains(r.errs.String(), "set scale bench --line") {
		t.Errorf("without a pattern it says %s", r.errs.String())
	}
	for _, bad := range [][]string{{"--line", "stands"}, {"--serial", "fast"}} {
		if code, _, errs := l.run("", append([]string{"set", "scale", "floor"}, bad...)...); code != exitRefused || !strings.Contains(errs, bad[1]) {
			t.Errorf("%q: status %d: %s", bad, code, errs)
		}
	}
	if got := l.weighed(); len(got) != 0 {
		t.Errorf("in the book are %q", got)
	}
}

// Two scales are read beside each other, one in pounds without a word of it.
func TestTwoScales(t *testing.T) {
	floor, bench := newCable(t), newCable(t)
	l := newLossy(t)
	l.must("set", "scale", "floor", "--line", lineOfFloor)
	l.must("set", "scale", "bench", "bench scale", "--division", "0.01 lb", "--line", "{weight}")
	a := l.scale("floor", "--port", floor.here, "--alloy", "C87300")
	b := l.scale("bench", "--port", bench.here, "--alloy", "C87300", "--unit", "lb")
	a.until("is listened to")
	b.until("is listened to")
	floor.stands("0.00 kg")
	bench.says("0.00", "0.00", "1.00", "1.00")
	b.until("454 g")
	floor.stands("8.00 kg")
	a.until("8000 g")
	if a.ends() != 0 || b.ends() != 0 {
		t.Errorf("%s%s", a.errs.String(), b.errs.String())
	}
	got := l.weighed()
	slices.Sort(got)
	if want := []string{"bench 0.454 kg", "floor 8.000 kg"}; !slices.Equal(got, want) {
		t.Errorf("in the book are %q, not %q", got, want)
	}
}

// Without a heat or an alloy nothing is recorded: who watches the scale is told what
// stands on it, and goes on being told after the server did not answer.
func TestScaleIsShown(t *testing.T) {
	c := newCable(t)
	l := newLossy(t)
	l.must("set", "scale", "floor", "--line", lineOfFloor)
	page, err := client.Dial(client.Config{Address: l.address})
	if err != nil {
		t.Fatal(err)
	}
	defer page.Close()
	ctx, stop := context.WithTimeout(t.Context(), time.Minute)
	defer stop()
	stream, err := page.Scales.WatchReadings(ctx, &pb.WatchReadingsRequest{Name: "shops/harrow/scales/floor"})
	if err != nil {
		t.Fatal(err)
	}
	if m, err := stream.Recv(); err != nil || m.GetWeight() != nil {
		t.Fatalf("it begins with %v, %v", m, err)
	}
	r := l.scale("floor", "--port", c.here)
	r.until("is listened to")
	heard := func(want string, mg int64) {
		t.Helper()
		for {
			m, err := stream.Recv()
			if err != nil {
				t.Fatal(err)
			}
			if m.GetWeight().GetTyped() == want {
				if m.GetWeight().GetMg() != mg || m.GetDevice() == "" {
					t.Errorf("%v", m)
				}
				return
			}
		}
	}
	c.moves("6.00 kg")
	c.stands("12.34 kg")
	heard("12.34 kg", 12_340_000)
	c.stands("-0.02 kg")
	heard("-0.02 kg", -20_000)
	r.until("shown on 1 page")
	if code := r.ends(); code != 0 {
		t.Errorf("status %d: %s", code, r.errs.String())
	}
	if got := l.weighed(); len(got) != 0 {
		t.Errorf("in the book are %q", got)
	}
}

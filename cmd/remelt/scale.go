package main

import (
	"bufio"
	"cmp"
	"context"
	"errors"
	"strings"
	"time"

	"github.com/spf13/cobra"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger/readout"
	"example.org/remelt/ledger/unit"
)

func (a *app) scaleCommand() *cobra.Command {
	v := &weighIn{req: &pb.WeighInRequest{}, weigh: &weighingFlags{}}
	s := &scale{app: a, v: v}
	c := &cobra.Command{
		Use:   "scale SCALE --port PORT",
		Short: "Read a scale on a serial port: each piece weighs itself in, or the page shows its weight",
		Long: `Read a scale on a serial port of this machine.

With a heat, a casting or an alloy each piece that is put on the scale is weighed in
by itself. A piece counts once: the scale must be empty before the next one, and
before the first. Lines may be typed meanwhile as at weigh-in --loop: undo takes the
last piece back, again sends what got no answer, and a piece that needs a reason is
typed with it. While the server does not answer, pieces wait here in order.

Without them nothing is recorded: the weigh-in page on any device shows the weight in
its field when it has this scale chosen, over the same server.

What the scale's lines look like, and how its port is set, stands in the book:

  remelt set scale floor --line "ST,*{weight}{unit}" --serial "9600 7E1"

{weight} and {unit} stand where they stand in the line, * for anything, and blanks
for any number of blanks. A line that looks otherwise is passed over, so a pattern
with the scale's sign of a settled weight takes only those. A weight counts when two
such lines in a row say the same (--lines for more); one in pounds from a scale that
the book knows in kilograms is not taken, nor the other way round. Empty is what is no more than ten divisions (--empty).`,
		Example: "  remelt scale floor --port /dev/ttyUSB0 --heat 41 --form cup --place bin-3\n" +
			"  remelt scale floor --port /dev/ttyUSB0",
		Args:              exactly("SCALE"),
		ValidArgsFunction: inOrder(a.completeScales()),
	}
	v.write = writeFlags(c)
	a.weighInFlags(c, v)
	f := c.Flags()
	f.StringVar(&s.port, "port", "", "the serial port, such as /dev/ttyUSB0, /dev/serial/by-id/… or COM3")
	f.IntVar(&s.lines, "lines", 2, "how many lines in a row must say the same")
	f.StringVar(&s.unit, "unit", "", "the unit of what it says, if its lines do not say one")
	f.StringVar(&s.empty, "empty", "", "what is no more than this is an empty scale; ten divisions unless said")
	f.StringVar(&v.weigh.tare, "tare", "", "the empty weight to take off what it says")
	f.StringVar(&v.weigh.savedTare, "saved-tare", "", "a saved empty weight to take off")
	f.StringVar(&v.weigh.dirt, "dirt", "", "share of the net taken to be grit, flux or investment, in per cent")
	noFiles(c, "lines", "empty", "unit", "tare", "dirt")
	complete(c, map[string]completer{"saved-tare": a.completeTares()})
	c.RunE = func(c *cobra.Command, args []string) error { return s.run(c.Context(), args[0]) }
	return c
}

// scale is a scale that is read for as long as the command runs.
type scale struct {
	*app
	v           *weighIn
	port, empty string
	unit        string // of lines that say none
	lines       int
	name        string // the resource name
}

func (s *scale) run(ctx context.Context, id string) error {
	posts := len(s.v.heatList) > 0 || s.v.req.GetCasting() != "" || s.v.req.GetAlloy() != ""
	v := s.v
	switch {
	case s.port == "":
		return usagef("say on which port it is, such as --port /dev/ttyUSB0")
	case s.lines < 2 || s.lines > 100:
		return usagef("--lines %d: must be from 2 to 100", s.lines)
	case !posts && (v.form != "" || v.req.GetPlace() != "" || v.req.GetInto() != "" || v.req.GetUnsure() || v.req.GetDirty()):
		return usagef("to weigh pieces in by themselves, say --heat, --casting or --alloy too; without, the page shows the weight and nothing is recorded")
	}
	d, err := s.dial(ctx, id)
	if err != nil {
		return err
	}
	p, err := d.opens()
	if err != nil {
		return portError(s.port, err)
	}
	ctx, stop := context.WithCancel(ctx)
	gone := make(chan struct{})
	defer func() { stop(); <-gone }()
	l, err := s.loop(ctx, v)
	if err != nil {
		close(gone)
		return errors.Join(err, p.Close())
	}
	l.say("%s is listened to on %s, %d %d%c%d.", d.scale, s.port, d.port.Baud, d.port.Bits, d.port.Parity, d.port.Stop)
	d.posts = posts
	go func() { defer close(gone); d.run(ctx, p) }()
	if posts {
		v.weigh.scale, v.weigh.onScale, l.keeps = id, true, true
		return s.post(ctx, l, d)
	}
	return s.show(ctx, l, d)
}

// dial reads what the book knows of the scale.
func (s *scale) dial(ctx context.Context, id string) (*dial, error) {
	cl, parent, err := s.begin(ctx)
	if err != nil {
		return nil, err
	}
	own, err := s.settings(ctx)
	if err != nil {
		return nil, err
	}
	s.name = named(parent, "scales", id)
	r, err := cl.Scales.GetScale(ctx, &pb.GetScaleRequest{Name: s.name})
	if err != nil {
		return nil, err
	}
	x := r.GetScale()
	if x.GetLinePattern() == "" {
		return nil, usagef("scale %s: the book does not know what its lines look like; say so first, such as: remelt set scale %s --line \"%s\"", id, id, readout.Usual)
	}
	d := &dial{scale: cmp.Or(x.GetDisplayName(), id), name: s.port, settled: readout.Settled{Lines: s.lines}, capacity: x.GetCapacity().GetMg(),
		stands: make(chan standing, 4096), says: make(chan string, 64), division: unit.MassUnit(own.GetMassUnit())}
	if d.pattern, err = readout.ParsePattern(x.GetLinePattern()); err != nil {
		return nil, usagef("scale %s: the pattern of its lines %v", id, err)
	}
	if d.port, err = readout.ParsePort(x.GetLineSettings()); err != nil {
		return nil, usagef("scale %s: its port's settings %v", id, err)
	}
	if at := strings.IndexFunc(x.GetDivision().GetTyped(), func(r rune) bool { return r >= 'A' }); at >= 0 {
		if u, err := unit.ParseMassUnit(x.GetDivision().GetTyped()[at:]); err == nil {
			d.division = u
		}
	}
	if strings.Contains(x.GetLinePattern(), "{unit}") != (s.unit == "") {
		return nil, usagef("--unit %q: is for a scale whose lines say no unit, and needed there; the pattern of %s is %q", s.unit, id, x.GetLinePattern())
	}
	if s.unit != "" {
		if d.unit, err = unit.ParseMassUnit(s.unit); err != nil {
			return nil, usagef("--unit: %v", err)
		}
	}
	d.pieces.Empty = 10 * x.GetDivision().GetMg()
	if s.empty != "" {
		if d.pieces.Empty, err = unit.ParseMass(s.empty, d.division); err != nil {
			return nil, usagef("--empty %q: %v", s.empty, err)
		}
	}
	return d, nil
}

// typed gives the lines of standard input, as they come.
func (s *scale) typed(ctx context.Context) <-chan string {
	lines := make(chan string)
	go func() { // ends with the input, or with the program
		in := bufio.NewScanner(s.in)
		for in.Scan() {
			select {
			case lines <- strings.TrimSpace(in.Text()):
			case <-ctx.Done():
				return
			}
		}
	}()
	return lines
}

// post weighs each piece in, in order. One that got no answer is sent again, under its
// request id, before the next.
func (s *scale) post(ctx context.Context, l *loop, d *dial) error {
	var waiting []string
	again := time.NewTicker(2 * time.Second)
	defer again.Stop()
	typed := s.typed(ctx)
	for {
		for l.open == nil && len(waiting) > 0 && ctx.Err() == nil {
			next := waiting[0]
			waiting = waiting[1:]
			l.line++
			if err := l.hear(ctx, next); err != nil {
				return err
			}
		}
		select {
		case <-ctx.Done():
			return s.ended(l, waiting)
		case what := <-d.says:
			l.say("%s", what)
		case now, more := <-d.stands:
			if !more {
				return s.ended(l, waiting) // ctx is done
			}
			if now.on == readout.NewPiece {
				waiting = append(waiting, now.text)
			}
		case line := <-typed:
			l.line++
			if err := l.hear(ctx, line); err != nil {
				return err
			}
		case <-again.C:
			if l.open != nil {
				if err := l.hear(ctx, "again"); err != nil {
					return err
				}
			}
		}
	}
}

// ended sums up, and names what was weighed but is not in the book.
func (s *scale) ended(l *loop, waiting []string) error {
	for _, w := range waiting {
		l.say("%s was weighed and is not in the book: it waited for an answer to the one before", w)
		l.failed++
	}
	return l.end()
}

// show tells the server what stands on the scale: when it changes, and each second
// while it does not, for pages that are opened meanwhile.
func (s *scale) show(ctx context.Context, l *loop, d *dial) error {
	var last string
	var at time.Time
	down := false
	for {
		select {
		case <-ctx.Done():
			return nil
		case what := <-d.says:
			l.say("%s", what)
		case now, more := <-d.stands:
			if !more {
				return nil // ctx is done
			}
			if len(d.stands) > 0 || now.text == last && time.Since(at) < time.Second {
				continue // it stood there; what stands there now is what counts
			}
			once, stop := context.WithTimeout(ctx, 3*time.Second)
			r, err := l.client.Scales.ShowReading(once, &pb.ShowReadingRequest{Name: s.name, Weight: mass(now.text), Device: hostName()})
			stop()
			switch {
			case err != nil && ctx.Err() == nil && !down:
				down = true
				l.say("%s cannot be shown: %s", now.text, problemOf(err).sentence(s.address))
			case err == nil && (down || now.text != last):
				down = false
				l.say("%s, shown on %s", now.text, plural(int(r.GetWatchers()), "page"))
			}
			last, at = now.text, time.Now()
		}
	}
}

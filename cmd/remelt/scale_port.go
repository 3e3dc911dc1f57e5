package main

import (
	"context"
	"fmt"
	"os"
	"slices"
	"strings"
	"time"

	"go.bug.st/serial"

	"example.org/remelt/ledger/readout"
	"example.org/remelt/ledger/unit"
)

// Patience with a port. What is heard is said at once; these only bound the waiting.
const (
	portTick    = 200 * time.Millisecond // how often a silent port is looked at
	portAgain   = time.Second            // between tries to open one that went away
	portSilent  = 10 * time.Second       // after which silence is told
	portStrange = 50                     // lines in a row that look otherwise, before that is told
)

// dial reads one scale: what stands on it, and when that is another piece. It runs
// beside what sends, so that no weight is missed while the server does not answer.
type dial struct {
	scale    string // for people
	name     string // of the port
	port     readout.Port
	pattern  *readout.Pattern
	settled  readout.Settled
	pieces   readout.Pieces
	division unit.MassUnit // the unit of its division
	unit     unit.MassUnit // of what it says without one
	capacity int64         // the most it can weigh; 0 when that is not known

	stands chan standing // what stands on it, as often as it says so
	says   chan string   // what a person should know; what nobody takes is dropped

	posts bool  // each piece counts
	piece int64 // what the last one weighed; 0 before the first

	told  string // what was told last, so that it is told once
	odd   int    // how many lines in a row looked otherwise
	heard time.Time
}

// standing is a weight that counts.
type standing struct {
	text string // as the scale says it, with its unit
	on   readout.On
}

// opens opens the port.
func (d *dial) opens() (serial.Port, error) {
	mode := &serial.Mode{BaudRate: d.port.Baud, DataBits: d.port.Bits,
		Parity:   map[byte]serial.Parity{'N': serial.NoParity, 'E': serial.EvenParity, 'O': serial.OddParity}[d.port.Parity],
		StopBits: map[int]serial.StopBits{1: serial.OneStopBit, 2: serial.TwoStopBits}[d.port.Stop]}
	p, err := serial.Open(d.name, mode)
	if err != nil {
		return nil, err
	}
	if err := p.SetReadTimeout(portTick); err != nil {
		_ = p.Close() // nothing was read from it
		return nil, err
	}
	return p, nil
}

// run reads until ctx is done. A port that goes away is opened again when it is back.
func (d *dial) run(ctx context.Context, p serial.Port) {
	defer close(d.stands)
	for p != nil {
		err := d.listen(ctx, p)
		_ = p.Close() // it is gone, or nobody listens any more
		if ctx.Err() != nil {
			return
		}
		d.tell("%s is gone (%v); plug it in again, and it is listened to as before", d.name, err)
		p = d.reopens(ctx)
	}
}

func (d *dial) reopens(ctx context.Context) serial.Port {
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-time.After(portAgain):
		}
		if p, err := d.opens(); err == nil {
			d.tell("%s is back", d.name)
			return p
		}
	}
}

// listen reads until ctx is done or the port is gone.
func (d *dial) listen(ctx context.Context, p serial.Port) error {
	var lines readout.Lines // what was cut off by the end of the port is no line
	buf := make([]byte, 4096)
	d.heard = time.Now()
	for ctx.Err() == nil {
		n, err := p.Read(buf)
		if err != nil {
			return err
		}
		if n == 0 {
			if time.Since(d.heard) > portSilent {
				d.once("nothing comes from %s: is the scale on, and does it send by itself?", d.name)
			}
			continue
		}
		d.heard = time.Now()
		for _, line := range lines.Add(buf[:n]) {
			d.hear(ctx, line)
		}
		if lines.TooLong() {
			d.once("what comes from %s has no ends of lines: are %d %d%c%d right for this scale?", d.name, d.port.Baud, d.port.Bits, d.port.Parity, d.port.Stop)
		}
	}
	return ctx.Err()
}

// hear takes one line.
func (d *dial) hear(ctx context.Context, line string) {
	r, ok := d.pattern.Read(line)
	if !ok {
		if d.odd++; d.odd >= portStrange {
			d.once("none of the last %d lines looks as its pattern says; the last one is %.60q", portStrange, line)
		}
		return
	}
	d.odd = 0
	if !d.settled.Hear(r) {
		return
	}
	if r.Unit == "" {
		r.Unit = string(d.unit)
	}
	mg, err := d.milligrams(r)
	switch {
	case err != nil:
		d.once("%s says %s, which is not taken: %v", d.scale, r, err)
		return
	case d.capacity > 0 && mg > d.capacity:
		d.once("%s says %s, more than it can weigh: that is not taken", d.scale, r)
		return
	}
	now := standing{r.String(), d.pieces.Hear(mg)}
	switch {
	case now.on == readout.NewPiece:
		d.piece = mg
		select { // however long nobody takes it: it must not be missed
		case d.stands <- now:
		case <-ctx.Done():
		}
		return
	case now.on == readout.BelowZero:
		d.once("%s says %s: set it to zero with nothing on it", d.scale, r)
	case now.on == readout.SamePiece && d.posts && d.piece == 0:
		d.once("something lies on %s already: empty it first, so that nothing is counted twice", d.scale)
	case now.on == readout.SamePiece && d.posts && max(mg-d.piece, d.piece-mg) > d.pieces.Empty:
		d.once("%s says %s now, which is not taken: only what is put on an empty scale is", d.scale, r)
	}
	select {
	case d.stands <- now:
	default: // the next says it too
	}
}

// milligrams reads a weight. One in pounds on a scale that was in kilograms is not
// taken: somebody pressed a key, and its division is no longer what the book knows.
func (d *dial) milligrams(r readout.Reading) (int64, error) {
	if u, err := unit.ParseMassUnit(r.Unit); err != nil {
		return 0, err
	} else if pounds(u) != pounds(d.division) {
		return 0, fmt.Errorf("the book knows it as a scale that reads to so many %s; switch it back, or change its division there", d.division)
	}
	mg, err := unit.ParseMass(strings.TrimPrefix(r.Weight, "-")+" "+r.Unit, d.unit)
	if strings.HasPrefix(r.Weight, "-") {
		mg = -mg
	}
	return mg, err
}

// pounds reports whether a unit is one of those that go with pounds.
func pounds(u unit.MassUnit) bool {
	return !slices.Contains([]unit.MassUnit{unit.KG, unit.G, unit.MG, unit.Tonne}, u)
}

// tell says something to whoever watches.
func (d *dial) tell(format string, args ...any) {
	d.told = ""
	d.once(format, args...)
}

// once says something unless it was the last thing said.
func (d *dial) once(format string, args ...any) {
	if s := fmt.Sprintf(format, args...); s != d.told {
		d.told = s
		select {
		case d.says <- s:
		default:
		}
	}
}

// portError says why a port cannot be opened, and which there are.
func portError(name string, err error) error {
	ports, _ := serial.GetPortsList() // none is an answer too
	there := "this machine has none that can be seen"
	if len(ports) > 0 {
		there = "there are " + strings.Join(ports, ", ")
	}
	if os.IsPermission(err) || strings.Contains(err.Error(), "denied") {
		there += "; on Linux whoever reads it must be in the group dialout"
	}
	return usagef("--port %q: %v; %s", name, err, there)
}

package main

import (
	"bufio"
	"context"
	"encoding/json"
	"fmt"
	"strings"

	"github.com/google/uuid"
	"google.golang.org/protobuf/proto"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/client"
)

// loop is a weigh-in of one piece after the other. What is in the book is in
// done; what got no answer is in open, with its request, so that it can be sent
// once more without being counted twice.
type loop struct {
	*app
	units
	v      *weighIn
	client *client.Client
	done   []weighed
	lots   map[pb.Form]string // the lot that pieces of a form go into
	open   *weighed
	line   int
	failed int
	keeps  bool // what is open is sent again by itself
}

// weighed is a piece and what became of it.
type weighed struct {
	line    int
	req     *pb.WeighInRequest
	lot     *pb.Lot
	entry   *pb.Entry
	net     int64 // milligrams on the scale
	newLot  bool
	pieces  int64
	written string
}

func (a *app) weighInLoop(ctx context.Context, v *weighIn, args []string) error {
	if len(args) > 0 {
		return usagef("with --loop the weights come from standard input, not from the command line")
	}
	l, err := a.loop(ctx, v)
	if err != nil {
		return err
	}
	in := bufio.NewScanner(a.in)
	for l.prompt(); ctx.Err() == nil && in.Scan(); l.prompt() {
		l.line++
		if err := l.hear(ctx, strings.TrimSpace(in.Text())); err != nil {
			return err
		}
	}
	if err := in.Err(); err != nil && ctx.Err() == nil {
		return fmt.Errorf("line %d: %w", l.line+1, err)
	}
	return l.end()
}

// loop makes ready for a weigh-in of one piece after the other.
func (a *app) loop(ctx context.Context, v *weighIn) (*loop, error) {
	switch {
	case v.write.requestID != "":
		return nil, usagef("--request-id is for one piece; each of several gets its own")
	case v.req.LotId != "":
		return nil, usagef("--lot is for one piece; several make their lots")
	}
	l := &loop{app: a, v: v, lots: map[pb.Form]string{}}
	cl, parent, err := a.begin(ctx)
	if err != nil {
		return nil, err
	}
	l.client, v.req.Parent = cl, parent
	if v.req.Heats, err = readShares(parent, v.heatList); err != nil {
		return nil, err
	}
	if v.req.Form, err = readWord[pb.Form]("--form", v.form); err != nil {
		return nil, err
	}
	if v.req.Form == 0 {
		v.req.Form = pb.Form_FORM_GATING
	}
	l.units, err = a.units(ctx)
	return l, err
}

func (l *loop) prompt() {
	if onTerminal(l.in) && !l.json() {
		fmt.Fprint(l.err, "weight> ")
	}
}

// hear takes one line. Only a write error of standard output ends the loop.
func (l *loop) hear(ctx context.Context, line string) error {
	switch strings.ToLower(line) {
	case "":
		return nil
	case "undo":
		return l.undo(ctx)
	case "total", "totals":
		return l.totals()
	case "again":
		if l.open == nil {
			l.say("nothing is open: every line was answered")
			return nil
		}
		again := *l.open
		return l.put(ctx, again)
	}
	if l.open != nil {
		l.say("line %d got no answer; type again until it does, so that the order of the pieces is kept", l.open.line)
		l.failed++
		return nil
	}
	w, err := l.read(ctx, line)
	if err != nil {
		return l.refuse(w, err)
	}
	return l.put(ctx, w)
}

// read makes the request of a line.
func (l *loop) read(ctx context.Context, line string) (weighed, error) {
	w := weighed{line: l.line, written: line}
	p, err := readPiece(line)
	if err != nil {
		return w, err
	}
	w.req = proto.CloneOf(l.v.req)
	if w.req.Weighing, err = l.v.weigh.need([]string{p.weight}); err != nil {
		return w, err
	}
	if w.req.Weighing.Pieces == 0 {
		w.req.Weighing.Pieces = 1
	}
	w.pieces = w.req.GetWeighing().GetPieces()
	if p.form != 0 {
		w.req.Form = p.form
	}
	if w.req.GetInto() == "" && !l.v.each {
		w.req.Into = l.lots[w.req.GetForm()]
	}
	w.newLot = w.req.GetInto() == ""
	one := *l.v.write
	one.requestID = uuid.NewString()
	if p.reason != "" {
		one.reason = p.reason
	}
	return w, l.fill(ctx, &one, w.req)
}

func (l *loop) put(ctx context.Context, w weighed) error {
	r, err := l.client.Lots.WeighIn(ctx, w.req)
	l.open = nil
	if err != nil {
		if unanswered(err) {
			l.open = &w
		}
		return l.refuse(w, err)
	}
	w.lot, w.entry = r.GetLot(), r.GetEntry()
	if all := r.GetEntry().GetWeighings(); len(all) > 0 {
		w.net = all[len(all)-1].GetNet().GetMg()
	}
	if w.newLot && !l.v.each && !l.v.write.dryRun {
		l.lots[w.req.GetForm()] = last(w.lot.GetName())
	}
	l.done = append(l.done, w)
	if l.json() {
		return writeJSON(l.out, r)
	}
	n, pieces, net := len(l.done), int64(0), int64(0)
	for _, d := range l.done {
		pieces, net = pieces+d.pieces, net+d.net
	}
	fmt.Fprintf(l.out, "%3d  %10s  %-8s into %-9s %s, %s\n", n, l.weight(w.net), word(w.req.GetForm()), last(w.lot.GetName()), plural(int(pieces), "piece"), l.weight(net))
	for _, f := range w.entry.GetFlags() {
		fmt.Fprintf(l.out, "     flagged %s: %s\n", f.GetCode(), f.GetText())
	}
	return nil
}

// refuse tells what was wrong with a line.
func (l *loop) refuse(w weighed, err error) error {
	p := problemOf(err)
	if l.open == nil {
		l.failed++
	}
	switch {
	case l.json():
		raw, _ := json.Marshal(struct {
			Line  int     `json:"line"`
			Text  string  `json:"text"`
			Error problem `json:"error"`
		}{w.line, w.written, p})
		l.say("%s", raw)
	case l.open != nil && l.keeps:
		l.say("%s: no answer yet; it is sent again until there is one (it cannot be counted twice), and what is weighed meanwhile waits here", w.written)
	case l.open != nil:
		l.say("line %d, %q: no answer, so nobody knows whether it is in the book; type again to send the same once more (it cannot be counted twice)", w.line, w.written)
	case p.Status == exitReason:
		text := p.sentence(l.address)
		text, _, _ = strings.Cut(text, "\nIf it is a fact")
		l.say("line %d, %q: not recorded: %s\n  If it is a fact, type the line again with because and the reason at its end.", w.line, w.written, text)
	default:
		l.say("line %d, %q: not recorded: %s", w.line, w.written, p.sentence(l.address))
	}
	return nil
}

func (l *loop) say(format string, args ...any) { fmt.Fprintf(l.err, format+"\n", args...) }

// undo takes the last piece back by an entry that reverses it.
func (l *loop) undo(ctx context.Context) error {
	if l.open != nil {
		l.say("line %d got no answer; type again first", l.open.line)
		return nil
	}
	if len(l.done) == 0 {
		l.say("nothing to undo")
		return nil
	}
	w := l.done[len(l.done)-1]
	if !l.v.write.dryRun {
		req := &pb.ReverseEntryRequest{Name: w.entry.GetName()}
		one := *l.v.write
		one.requestID, one.reason = uuid.NewString(), "undone at the weigh-in"
		if err := l.fill(ctx, &one, req); err != nil {
			return err
		}
		r, err := l.client.Entries.ReverseEntry(ctx, req)
		if err != nil {
			l.failed++
			l.say("undo: %s", problemOf(err).sentence(l.address))
			return nil
		}
		if l.json() {
			if err := writeJSON(l.out, r); err != nil {
				return err
			}
		}
	}
	l.done = l.done[:len(l.done)-1]
	if w.newLot {
		delete(l.lots, w.req.GetForm())
	}
	if !l.json() {
		fmt.Fprintf(l.out, "     taken back: %s %s\n", l.weight(w.net), word(w.req.GetForm()))
	}
	return nil
}

// totals prints what is in so far, by form.
func (l *loop) totals() error {
	if l.json() {
		return nil
	}
	t := newTable("LOT", "FORM", ">PIECES", ">WEIGHT")
	type key struct{ lot, form string }
	var order []key
	pieces, net := map[key]int64{}, map[key]int64{}
	var allPieces, allNet int64
	for _, w := range l.done {
		k := key{last(w.lot.GetName()), word(w.req.GetForm())}
		if _, known := pieces[k]; !known {
			order = append(order, k)
		}
		pieces[k], net[k] = pieces[k]+w.pieces, net[k]+w.net
		allPieces, allNet = allPieces+w.pieces, allNet+w.net
	}
	for _, k := range order {
		t.add(k.lot, k.form, itoa(pieces[k]), l.weight(net[k]))
	}
	t.add("all", "", itoa(allPieces), l.weight(allNet))
	t.write(l.out)
	return nil
}

// end sums up, and says by the exit status whether every line went well.
func (l *loop) end() error {
	if err := l.totals(); err != nil {
		return err
	}
	switch {
	case l.open != nil:
		p := problem{Status: exitUnavailable, RequestID: l.open.req.GetRequestId()}
		l.say("line %d, %q, got no answer: nobody knows whether it is in the book (request %s)", l.open.line, l.open.written, p.RequestID)
		return statusError(exitUnavailable)
	case l.failed > 0:
		l.say("%s not recorded", plural(l.failed, "line"))
		return statusError(exitRefused)
	case l.v.write.dryRun && !l.json():
		l.say("dry run: nothing was recorded")
	}
	return nil
}

package main

import (
	"context"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	pb "example.org/remelt/api/remelt/v1"
)

// weighIn is what is the same for each piece of a weigh-in.
type weighIn struct {
	form       string
	loop, each bool
	heatList   []string
	req        *pb.WeighInRequest
	weigh      *weighingFlags
	write      *write
}

func (a *app) weighInCommand() *cobra.Command {
	v := &weighIn{req: &pb.WeighInRequest{}}
	c := &cobra.Command{
		Use:   "weigh-in [WEIGHT [FORM]]",
		Short: "Put returns on the scale: gating, cups, risers",
		Long: `Put returns on the scale: gating, cups, risers.

The heat may be left out when it is not known, or said more than once when pieces
of several are in one bin: with shares (--heat 41=60 --heat 42=40), or without and
settled later with remelt assign. An alloy you are not sure of is set apart.

With --loop it reads one line per piece until the end of its input, all of the same
alloy, heat and place, and answers each with the running totals:

  12.4 lb cup            a piece; the form may be left out
  18 lb gating 3 pcs     several pieces at once
  2.1 lb because REASON  a piece that needs a reason
  undo                   take the last one back
  again                  send a line once more that got no answer
  total                  show the totals

Pieces of one form go into one lot, unless --each gives each a lot of its own. A
line that is refused is not recorded; the loop goes on.`,
		Example: "  remelt weigh-in 12.4 lb cup --heat 41 --place bin-3\n" +
			"  remelt weigh-in --gross 31.2 --saved-tare blue-bin --heat 41 --dirty --dirt 2\n" +
			"  remelt weigh-in --loop --heat 41 --place bin-3",
		ValidArgsFunction: inOrder(nil, fixed(words[pb.Form]()...)),
	}
	v.write, v.weigh = writeFlags(c), a.addWeighingFlags(c)
	a.weighInFlags(c, v)
	c.Flags().BoolVar(&v.loop, "loop", false, "read one line per piece")
	c.RunE = func(c *cobra.Command, args []string) error {
		if v.loop {
			return a.weighInLoop(c.Context(), v, args)
		}
		return a.weighInOnce(c.Context(), v, args)
	}
	return c
}

// weighInFlags are what is said once for all pieces.
func (a *app) weighInFlags(c *cobra.Command, v *weighIn) {
	req := v.req
	f := c.Flags()
	f.StringArrayVar(&v.heatList, "heat", nil, "the heat it is of, or 41=60 with its share; may be said more than once")
	f.StringVar(&req.Casting, "casting", "", "instead: the casting, weighed as cast, that it was cut off")
	f.StringVar(&req.Alloy, "alloy", "", "the alloy, by any of its names; that of the heat unless said")
	f.BoolVar(&req.Unsure, "unsure", false, "the alloy is a guess: set it apart until it is identified")
	f.StringVar(&v.form, "form", "", "gating unless said: "+strings.Join(words[pb.Form](), ", "))
	f.BoolVar(&req.Dirty, "dirty", false, "it is still to be cleaned")
	f.StringVar(&req.Into, "into", "", "an existing lot that it is added to")
	f.StringVar(&req.Owner, "owner", "", "the customer whose own metal it is; that of the heat unless said")
	f.StringVar(&req.Place, "place", "", "where it is put")
	f.StringVar(&req.Label, "label", "", "a label for people")
	f.StringVar(&req.LotId, "lot", "", "the new lot's id; the next number unless said")
	f.BoolVar(&v.each, "each", false, "a lot for each piece")
	noFiles(c, "label", "lot")
	complete(c, map[string]completer{"heat": a.completeHeats(), "casting": a.completeCastings(), "alloy": a.completeAlloys(),
		"form": fixed(words[pb.Form]()...), "into": a.completeLots(), "owner": a.completeParties(), "place": a.completePlaces()})
}

func (a *app) weighInOnce(ctx context.Context, v *weighIn, args []string) error {
	piece, err := readPiece(strings.Join(args, " "))
	if err != nil {
		return err
	}
	if v.req.Weighing, err = v.weigh.need([]string{piece.weight}); err != nil {
		return err
	}
	if v.req.Form, err = readWord[pb.Form]("--form", v.form); err != nil {
		return err
	}
	if piece.form != 0 {
		v.req.Form = piece.form
	}
	cl, parent, err := a.begin(ctx)
	if err != nil {
		return err
	}
	v.req.Parent = parent
	if v.req.Heats, err = readShares(parent, v.heatList); err != nil {
		return err
	}
	r, err := send(ctx, a, v.write, cl.Lots.WeighIn, v.req)
	if err != nil {
		return err
	}
	return a.show(ctx, r, func(p *page) { p.lotLine(r.GetLot()); p.recorded(v.write, r.GetEntry()) })
}

// piece is what is typed of one piece: "12.4 lb cup", "18 lb gating 3 pcs".
type piece struct {
	weight string // with the number of pieces, if there is one
	form   pb.Form
	reason string
}

func readPiece(typed string) (piece, error) {
	var p piece
	fields := strings.Fields(typed)
	if i := slices.IndexFunc(fields, func(s string) bool { return strings.EqualFold(s, "because") }); i >= 0 {
		p.reason = strings.Join(fields[i+1:], " ")
		fields = fields[:i]
		if p.reason == "" {
			return p, usagef("%q: say the reason after because", typed)
		}
	}
	var weight []string
	for _, word := range fields {
		if f, err := readWord[pb.Form]("", word); err == nil && f != 0 {
			if p.form != 0 {
				return p, usagef("%q: names two forms", typed)
			}
			p.form = f
			continue
		}
		weight = append(weight, word)
	}
	p.weight = strings.Join(weight, " ")
	return p, nil
}

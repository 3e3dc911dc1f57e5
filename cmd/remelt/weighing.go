package main

import (
	"strings"

	"github.com/spf13/cobra"

	pb "example.org/remelt/api/remelt/v1"
)

// weighingFlags are the parts of a weighing that are not simply a net weight.
type weighingFlags struct {
	gross, tare, savedTare, before, scale, dirt string
	estimated                                   bool
	onScale                                     bool // what is given as the weight is everything on the scale
}

func (a *app) addWeighingFlags(c *cobra.Command) *weighingFlags {
	v := &weighingFlags{}
	f := c.Flags()
	f.StringVar(&v.gross, "gross", "", "everything on the scale, instead of the net weight")
	f.StringVar(&v.tare, "tare", "", "the empty weight to take off the gross")
	f.StringVar(&v.savedTare, "saved-tare", "", "a saved empty weight to take off the gross")
	f.StringVar(&v.before, "before", "", "what the bin weighed before it was added to, to take off the gross")
	f.StringVar(&v.scale, "scale", "", "the scale it was read on")
	f.StringVar(&v.dirt, "dirt", "", "share of the net taken to be grit, flux or investment, in per cent")
	f.BoolVar(&v.estimated, "estimated", false, "the weight is an estimate, not read off a scale")
	noFiles(c, "gross", "tare", "before", "dirt")
	must(c.RegisterFlagCompletionFunc("scale", a.completeScales()))
	must(c.RegisterFlagCompletionFunc("saved-tare", a.completeTares()))
	return v
}

// read makes a weighing of what is typed as the net weight, with or without a
// count of pieces, and the flags. nil when nothing of a weight was given.
func (v *weighingFlags) read(typed string) (*pb.Weighing, error) {
	net, pieces, err := readPieces(typed)
	if err != nil {
		return nil, err
	}
	w := &pb.Weighing{Scale: v.scale, Gross: mass(v.gross), Tare: mass(v.tare), SavedTare: v.savedTare, Before: mass(v.before),
		Net: mass(net), DirtPercent: v.dirt, Pieces: pieces}
	if v.onScale && (v.tare != "" || v.savedTare != "" || v.before != "") {
		w.Net, w.Gross = nil, w.GetNet()
	}
	if v.estimated {
		w.Basis = pb.Basis_BASIS_ESTIMATED
	}
	if w.Net == nil && w.Gross == nil && w.Tare == nil && w.SavedTare == "" && w.Before == nil {
		if pieces != 0 {
			return nil, usagef("%q: give the weight before the number of pieces", typed)
		}
		return nil, nil
	}
	return w, nil
}

// need is read for commands that cannot do without a weight.
func (v *weighingFlags) need(words []string) (*pb.Weighing, error) {
	w, err := v.read(strings.Join(words, " "))
	if err == nil && w == nil {
		err = usagef("give the weight, such as \"12.4 lb\", or --gross with --tare")
	}
	return w, err
}

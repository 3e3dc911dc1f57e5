package main

import (
	"strings"

	"github.com/spf13/cobra"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/client"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/fieldmaskpb"
)

func (a *app) setCommand() *cobra.Command {
	return group("set", "Add or change what the shop has: places, scales, people, pots, alloys",
		a.setShopCommand(), a.setPlaceCommand(), a.setScaleCommand(), a.setTareCommand(), a.setPartyCommand(), a.setPersonCommand(),
		a.setPotCommand("crucible", pb.PotKind_POT_KIND_CRUCIBLE), a.setPotCommand("furnace", pb.PotKind_POT_KIND_FURNACE),
		a.setSupplyCommand(), a.setAlloyCommand())
}

type entryAnswer interface {
	proto.Message
	GetEntry() *pb.Entry
}

// setThing finishes a command that adds or changes one thing by its id. Only what
// is said changes; title says how the thing is called when it is there.
func (a *app) setThing(c *cobra.Command, w *write, fields map[string]string, do func(c *cobra.Command, cl *client.Client, parent, id, name string, mask *fieldmaskpb.FieldMask) (entryAnswer, error)) *cobra.Command {
	if c.Args == nil {
		c.Args = atLeast("ID")
	}
	c.RunE = func(c *cobra.Command, args []string) error {
		cl, parent, err := a.begin(c.Context())
		if err != nil {
			return err
		}
		mask := changed(c, fields)
		name := strings.Join(args[1:], " ")
		if name != "" {
			mask.Paths = append(mask.Paths, "display_name")
		}
		if len(mask.GetPaths()) == 0 {
			return usagef("say what is to be set; the form is: %s", useLine(c))
		}
		r, err := do(c, cl, parent, args[0], name, mask)
		if err != nil {
			return err
		}
		return a.show(c.Context(), r, func(p *page) {
			what := c.Name()
			if what == "set" { // of what stands under its own command: commission set
				what = c.Parent().Name()
			}
			p.printf("%s %s is set.\n", strings.ToUpper(what[:1])+what[1:], args[0])
			p.recorded(w, r.GetEntry())
		})
	}
	return c
}

func (a *app) setPlaceCommand() *cobra.Command {
	c := &cobra.Command{Use: "place ID NAME", Short: "A shelf, bin or corner", Example: "  remelt set place bin-3 \"third bin, silicon bronze\"",
		ValidArgsFunction: inOrder(a.completePlaces(), nil)}
	w := writeFlags(c)
	return a.setThing(c, w, nil, func(c *cobra.Command, cl *client.Client, parent, id, name string, mask *fieldmaskpb.FieldMask) (entryAnswer, error) {
		return send(c.Context(), a, w, cl.Places.UpdatePlace, &pb.UpdatePlaceRequest{AllowMissing: true, UpdateMask: mask,
			Place: &pb.Place{Name: named(parent, "places", id), DisplayName: name}})
	})
}

func (a *app) setScaleCommand() *cobra.Command {
	s := &pb.Scale{}
	var division, interval, class, rule, capacity, checked, load, off, sure, spread string
	c := &cobra.Command{Use: "scale ID [NAME]", Short: "A scale, with what its last digit shows",
		Example:           "  remelt set scale floor \"floor scale\" --division \"0.1 lb\" --class III",
		ValidArgsFunction: inOrder(a.completeScales(), nil)}
	w := writeFlags(c)
	f := c.Flags()
	f.StringVar(&division, "division", "", "what its last digit shows (d)")
	f.StringVar(&interval, "interval", "", "the verification interval (e), when it differs from the division")
	f.StringVar(&class, "class", "", "its accuracy class, as on the plate: I, II, III, IIII, or III-L")
	f.StringVar(&rule, "rule", "", "whose limits of error hold: "+strings.Join(words[pb.ScaleRule](), ", "))
	f.StringVar(&capacity, "capacity", "", "the most it can weigh")
	f.StringVar(&checked, "checked", "", "when it was last checked")
	f.StringVar(&load, "check-load", "", "what stood on it at the last check with known weights")
	f.StringVar(&off, "check-error", "", "what it showed then, less what was true; may be below zero")
	f.StringVar(&sure, "check-uncertainty", "", "the standard uncertainty of those weights")
	f.StringVar(&spread, "repeatability", "", "the standard deviation of repeated readings")
	f.Int32Var(&s.RepeatabilityReadings, "repeatability-readings", 0, "from how many readings")
	f.StringVar(&s.LinePattern, "line", "", "what a line of a settled weight looks like on its serial port, such as \"ST,*{weight}{unit}\"")
	f.StringVar(&s.LineSettings, "serial", "", "how that port is set, such as \"9600 7E1\"; 9600 8N1 unless said")
	noFiles(c, "line", "serial", "division", "interval", "capacity", "checked", "check-load", "check-error", "check-uncertainty", "repeatability", "repeatability-readings")
	complete(c, map[string]completer{"class": fixed("I", "II", "III", "IIII", "III-L"), "rule": fixed(words[pb.ScaleRule]()...)})
	fields := map[string]string{"division": "division", "interval": "verification_interval", "class": "accuracy_class", "rule": "rule", "capacity": "capacity",
		"checked": "check_time", "check-load": "check_load", "check-error": "check_error", "check-uncertainty": "check_uncertainty",
		"repeatability": "repeatability", "repeatability-readings": "repeatability_readings",
		"line": "line_pattern", "serial": "line_settings"}
	return a.setThing(c, w, fields, func(c *cobra.Command, cl *client.Client, parent, id, name string, mask *fieldmaskpb.FieldMask) (_ entryAnswer, err error) {
		s.Name, s.DisplayName = named(parent, "scales", id), name
		s.Division, s.VerificationInterval, s.Capacity = mass(division), mass(interval), mass(capacity)
		s.CheckLoad, s.CheckError, s.CheckUncertainty, s.Repeatability = mass(load), mass(off), mass(sure), mass(spread)
		if s.Rule, err = readWord[pb.ScaleRule]("--rule", rule); err != nil {
			return nil, err
		}
		if s.AccuracyClass, err = readWord[pb.AccuracyClass]("--class", class); err != nil {
			return nil, err
		}
		if s.CheckTime, err = a.readTime(c.Context(), "--checked", checked, noon); err != nil {
			return nil, err
		}
		return send(c.Context(), a, w, cl.Scales.UpdateScale, &pb.UpdateScaleRequest{AllowMissing: true, UpdateMask: mask, Scale: s})
	})
}

func (a *app) setTareCommand() *cobra.Command {
	var weight string
	c := &cobra.Command{Use: "tare ID [NAME]", Short: "A saved empty weight: a pan, a bin, a bucket with a mark on it",
		Example:           "  remelt set tare blue-bin \"blue bin\" --weight \"4.2 lb\"",
		ValidArgsFunction: inOrder(a.completeTares(), nil)}
	w := writeFlags(c)
	c.Flags().StringVar(&weight, "weight", "", "what it weighs empty")
	noFiles(c, "weight")
	return a.setThing(c, w, map[string]string{"weight": "mass"}, func(c *cobra.Command, cl *client.Client, parent, id, name string, mask *fieldmaskpb.FieldMask) (entryAnswer, error) {
		return send(c.Context(), a, w, cl.Tares.UpdateTare, &pb.UpdateTareRequest{AllowMissing: true, UpdateMask: mask,
			Tare: &pb.Tare{Name: named(parent, "tares", id), DisplayName: name, Mass: mass(weight)}})
	})
}

func (a *app) setPartyCommand() *cobra.Command {
	var roles []string
	c := &cobra.Command{Use: "party ID [NAME]", Short: "A supplier, a customer, or somebody who melts here",
		Example:           "  remelt set party northmetal \"North Metal\" --role supplier",
		ValidArgsFunction: inOrder(a.completeParties(), nil)}
	w := writeFlags(c)
	c.Flags().StringArrayVar(&roles, "role", nil, strings.Join(words[pb.Role](), ", ")+"; may be said more than once")
	complete(c, map[string]completer{"role": fixed(words[pb.Role]()...)})
	return a.setThing(c, w, map[string]string{"role": "roles"}, func(c *cobra.Command, cl *client.Client, parent, id, name string, mask *fieldmaskpb.FieldMask) (entryAnswer, error) {
		party := &pb.Party{Name: named(parent, "parties", id), DisplayName: name}
		for _, typed := range roles {
			r, err := readWord[pb.Role]("--role", typed)
			if err != nil {
				return nil, err
			}
			party.Roles = append(party.Roles, r)
		}
		return send(c.Context(), a, w, cl.Parties.UpdateParty, &pb.UpdatePartyRequest{AllowMissing: true, UpdateMask: mask, Party: party})
	})
}

func (a *app) setSupplyCommand() *cobra.Command {
	s := &pb.Supply{}
	var below string
	c := &cobra.Command{Use: "supply ID [NAME]", Short: "An item that is used up: flux, degasser, deoxidiser, crucibles",
		Example:           "  remelt set supply borax \"anhydrous borax\" --purpose flux --order-below \"2 lb\"",
		ValidArgsFunction: inOrder(a.completeSupplies(), nil)}
	w := writeFlags(c)
	f := c.Flags()
	f.StringVar(&s.Purpose, "purpose", "", "what it is for: flux, degasser, deoxidiser, grain refiner, crucible, welding rod, …")
	f.BoolVar(&s.InPieces, "in-pieces", false, "it is counted in pieces, not weighed")
	f.StringVar(&s.MetalPercent, "metal", "", "share of it that becomes part of the melt, in per cent")
	f.StringVar(&s.Caution, "caution", "", "a caution to show where it is used")
	f.StringVar(&below, "order-below", "", "order when there is less than this: a weight or \"4 pcs\"")
	noFiles(c, "metal", "caution", "order-below")
	complete(c, map[string]completer{"purpose": fixed("flux", "degasser", "deoxidiser", "grain refiner", "crucible", "welding rod")})
	fields := map[string]string{"purpose": "purpose", "in-pieces": "in_pieces", "metal": "metal_percent", "caution": "caution"}
	return a.setThing(c, w, withFlag(fields, "order-below"), func(c *cobra.Command, cl *client.Client, parent, id, name string, mask *fieldmaskpb.FieldMask) (_ entryAnswer, err error) {
		s.Name, s.DisplayName = named(parent, "supplies", id), name
		if s.OrderBelow, s.OrderBelowPieces, err = readAmount([]string{below}); err != nil {
			return nil, err
		}
		for i, path := range mask.GetPaths() {
			if path == "order-below" {
				mask.Paths[i] = "order_below"
				if s.GetOrderBelowPieces() != 0 {
					mask.Paths[i] = "order_below_pieces"
				}
			}
		}
		return send(c.Context(), a, w, cl.Supplies.UpdateSupply, &pb.UpdateSupplyRequest{AllowMissing: true, UpdateMask: mask, Supply: s})
	})
}

// withFlag adds a flag whose field is only known when it was read.
func withFlag(fields map[string]string, flag string) map[string]string {
	fields[flag] = flag
	return fields
}

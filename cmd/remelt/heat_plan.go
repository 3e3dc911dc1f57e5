package main

import (
	"context"
	"slices"
	"strings"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/client"
)

// planFlags are what can be said of a heat before it is melted.
type planFlags struct {
	heat         *pb.Heat
	charge, when string
}

func (a *app) addPlanFlags(c *cobra.Command) *planFlags {
	v := &planFlags{heat: &pb.Heat{}}
	f := c.Flags()
	f.StringVar(&v.heat.Crucible, "crucible", "", "the crucible")
	f.StringVar(&v.heat.Furnace, "furnace", "", "the furnace")
	f.StringVar(&v.heat.Melter, "melter", "", "who melts")
	f.StringVar(&v.when, "when", "", "when it is planned for")
	f.StringVar(&v.charge, "charge", "", "the planned charge; the sum of the molds unless said")
	f.StringVar(&v.heat.Note, "note", "", "a note")
	noFiles(c, "when", "charge", "note")
	complete(c, map[string]completer{"crucible": a.completePots(), "furnace": a.completePots(), "melter": a.completeParties()})
	return v
}

func (v *planFlags) read(ctx context.Context, a *app) (err error) {
	v.heat.Charge = mass(v.charge)
	v.heat.PlannedTime, err = a.readTime(ctx, "--when", v.when, noon)
	return err
}

func (a *app) heatPlanCommand() *cobra.Command {
	req := &pb.CreateHeatRequest{}
	var molds, take []string
	c := &cobra.Command{
		Use:   "plan ALLOY",
		Short: "Plan a heat, with its molds",
		Long: `Plan a heat, with its molds. A mold is said as its name and what is known of it, with
semicolons between:

  --mold "panel A; metal=12.4 kg; gating=5 kg; commission=gate"
  --mold "hand; wax=310 g; gating=1.2 kg; customer=iris"
  --mold "base; volume=1.2 l"

metal and gating are the casting's weight and that of cups, sprues, runners and
risers. Where only the wax or the volume is known, the metal is reckoned from it.`,
		Example:           "  remelt heat plan C87300 --crucible A60 --when \"2026-03-02 08:00\" --mold \"panel A; metal=12.4 kg; gating=5 kg\"",
		Args:              atLeast("ALLOY"),
		ValidArgsFunction: inOrder(a.completeAlloys(), nil),
	}
	w, plan := writeFlags(c), a.addPlanFlags(c)
	req.Heat = plan.heat
	f := c.Flags()
	f.StringVar(&req.HeatId, "heat", "", "the new heat's id; the next number unless said")
	f.StringVar(&plan.heat.Owner, "owner", "", "the customer whose own metal is melted")
	f.StringArrayVar(&molds, "mold", nil, "a mold, as above; may be said more than once")
	f.StringArrayVar(&take, "take", nil, "a mold of another heat that was not poured there, such as 41-2; may be said more than once")
	noFiles(c, "heat", "mold", "take")
	complete(c, map[string]completer{"owner": a.completeParties()})
	c.RunE = func(c *cobra.Command, args []string) error {
		if err := plan.read(c.Context(), a); err != nil {
			return err
		}
		cl, parent, err := a.begin(c.Context())
		if err != nil {
			return err
		}
		plan.heat.Alloy, req.Parent = strings.Join(args, " "), parent
		for _, typed := range molds {
			m, err := readMold(typed)
			if err != nil {
				return err
			}
			if err := estimate(c.Context(), cl, parent, plan.heat.GetAlloy(), m); err != nil {
				return err
			}
			req.Molds = append(req.Molds, m)
		}
		req.TakeMolds = take
		r, err := send(c.Context(), a, w, cl.Heats.CreateHeat, req)
		if err != nil {
			return err
		}
		return a.show(c.Context(), r, func(p *page) {
			p.heatLine(r.GetHeat())
			if r.GetHeat().GetCharge().GetMg() != 0 {
				p.printf("Planned charge %s\n", r.GetHeat().GetCharge().GetText())
			}
			p.moldTable(r.GetMolds())
			p.recorded(w, r.GetEntry())
			p.cautions(r.GetHeat().GetCautions()...)
		})
	}
	return c
}

func (a *app) heatChangeCommand() *cobra.Command {
	c := &cobra.Command{Use: "change HEAT", Short: "Change what is planned or noted of a heat that is not settled", Args: exactly("HEAT")}
	w, plan := writeFlags(c), a.addPlanFlags(c)
	c.Flags().StringVar(&plan.heat.Alloy, "alloy", "", "the alloy, by any of its names")
	complete(c, map[string]completer{"alloy": a.completeAlloys()})
	return a.changeHeat(c, w, func(c *cobra.Command, cl *client.Client, name, _ string, _ []string) (heatAnswer, error) {
		if err := plan.read(c.Context(), a); err != nil {
			return nil, err
		}
		plan.heat.Name = name
		mask := changed(c, map[string]string{"crucible": "crucible", "furnace": "furnace", "melter": "melter", "when": "planned_time",
			"charge": "charge", "note": "note", "alloy": "alloy"})
		if len(mask.GetPaths()) == 0 {
			return nil, usagef("say what is to be changed")
		}
		return send(c.Context(), a, w, cl.Heats.UpdateHeat, &pb.UpdateHeatRequest{Heat: plan.heat, UpdateMask: mask})
	})
}

// changed is the mask of the fields whose flags were given.
func changed(c *cobra.Command, fieldOf map[string]string) *fieldmaskpb.FieldMask {
	m := &fieldmaskpb.FieldMask{}
	for flag, field := range fieldOf {
		if c.Flags().Changed(flag) {
			m.Paths = append(m.Paths, field)
		}
	}
	slices.Sort(m.Paths)
	return m
}

func (a *app) heatMoldCommand() *cobra.Command {
	var id string
	c := &cobra.Command{
		Use:               "mold HEAT MOLD",
		Short:             "Add a mold to a heat, or change one that is not poured",
		Long:              "Add a mold to a heat, or with --mold change one that is not poured. A mold is said as for\nremelt heat plan.",
		Example:           "  remelt heat mold 41 \"panel B; metal=11 kg; gating=5 kg\"",
		Args:              atLeast("HEAT", "MOLD"),
		ValidArgsFunction: inOrder(a.completeHeats(), nil),
	}
	w := writeFlags(c)
	c.Flags().StringVar(&id, "mold", "", "the mold that changes; a new one unless said")
	noFiles(c, "mold")
	c.RunE = func(c *cobra.Command, args []string) error {
		m, err := readMold(strings.Join(args[1:], " "))
		if err != nil {
			return err
		}
		cl, parent, err := a.begin(c.Context())
		if err != nil {
			return err
		}
		heat := named(parent, "heats", args[0])
		h, err := cl.Heats.GetHeat(c.Context(), &pb.GetHeatRequest{Name: heat})
		if err != nil {
			return err
		}
		if err := estimate(c.Context(), cl, parent, last(h.GetHeat().GetAlloy()), m); err != nil {
			return err
		}
		if id == "" {
			r, err := send(c.Context(), a, w, cl.Molds.CreateMold, &pb.CreateMoldRequest{Parent: heat, Mold: m})
			if err != nil {
				return err
			}
			return a.show(c.Context(), r, func(p *page) { p.newMold(w, h.GetHeat(), r.GetMold(), r.GetEntry()) })
		}
		m.Name = heat + "/molds/" + last(id)
		r, err := send(c.Context(), a, w, cl.Molds.UpdateMold, &pb.UpdateMoldRequest{Mold: m})
		if err != nil {
			return err
		}
		return a.show(c.Context(), r, func(p *page) { p.newMold(w, h.GetHeat(), r.GetMold(), r.GetEntry()) })
	}
	return c
}

func (p *page) newMold(w *write, h *pb.Heat, m *pb.Mold, e *pb.Entry) {
	p.moldTable([]*pb.Mold{m})
	p.recorded(w, e)
	p.cautions(h.GetCautions()...)
}

func (p *page) moldTable(all []*pb.Mold) {
	if len(all) == 0 {
		return
	}
	t := newTable("MOLD", "NAME", "FOR", ">METAL", ">GATING", ">POURED", "STATE", "RECKONED")
	for _, m := range all {
		poured := ""
		if m.GetPoured().GetMg() != 0 {
			poured = m.GetPoured().GetText()
		}
		t.add(last(m.GetName()), m.GetDisplayName(), strings.TrimSpace(m.GetCommission()+" "+last(m.GetCustomer())), m.GetMetal().GetText(), m.GetGating().GetText(), poured, word(m.GetState()), m.GetHow())
	}
	t.write(p)
}

// readMold reads a mold as typed: "panel A; metal=12.4 kg; gating=5 kg".
func readMold(typed string) (*pb.Mold, error) {
	m := &pb.Mold{}
	for i, part := range strings.Split(typed, ";") {
		key, value, found := strings.Cut(strings.TrimSpace(part), "=")
		key, value = strings.TrimSpace(key), strings.TrimSpace(value)
		switch {
		case key == "" && !found:
		case !found && i == 0:
			m.DisplayName = key
		case key == "name":
			m.DisplayName = value
		case key == "metal":
			m.Metal = mass(value)
		case key == "gating":
			m.Gating = mass(value)
		case key == "wax":
			m.Wax = mass(value)
		case key == "volume":
			m.Volume = &pb.Volume{Text: value}
		case key == "commission":
			m.Commission = value
		case key == "customer":
			m.Customer = value
		case key == "how":
			m.How = value
		default:
			return nil, usagef("mold %q: does not know %q; say name, metal, gating, wax, volume, commission, customer or how", typed, strings.TrimSpace(part))
		}
	}
	return m, nil
}

// estimate reckons a mold's metal where only its wax or volume is known.
func estimate(ctx context.Context, cl *client.Client, parent, alloy string, m *pb.Mold) error {
	if m.GetMetal() != nil || m.GetWax() == nil && m.GetVolume() == nil {
		return nil
	}
	r, err := cl.Molds.EstimateMetal(ctx, &pb.EstimateMetalRequest{Parent: parent, Alloy: alloy, Wax: m.GetWax(), Volume: m.GetVolume()})
	if err != nil {
		return err
	}
	m.Metal = &pb.Mass{Mg: r.GetMetal().GetMg()}
	if m.GetHow() == "" {
		m.How = r.GetHow()
	}
	return nil
}

package main

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	pb "example.org/remelt/api/remelt/v1"
)

func (a *app) remeltsCommand() *cobra.Command {
	req := &pb.ForecastRemeltsRequest{}
	c := &cobra.Command{
		Use: "remelts ALLOY", Short: "What an alloy's elements do when its returns are melted again and again",
		Example:           "  remelt remelts C87300 --share 50 --melts 10",
		Args:              atLeast("ALLOY"),
		ValidArgsFunction: inOrder(a.completeAlloys(), nil),
	}
	f := c.Flags()
	f.StringVar(&req.SharePercent, "share", "", "how much of every charge is returns, in per cent; 50 unless said")
	f.Int32Var(&req.Melts, "melts", 0, "how many melts to look ahead; 10 unless said")
	f.StringVar(&req.ChancePercent, "chance", "", "how likely outside is still accepted, in per cent; 5 unless said")
	noFiles(c, "share", "melts", "chance")
	c.RunE = func(c *cobra.Command, args []string) error {
		cl, parent, err := a.begin(c.Context())
		if err != nil {
			return err
		}
		req.Name = named(parent, "alloys", strings.Join(args, " "))
		r, err := cl.Analysis.ForecastRemelts(c.Context(), req)
		if err != nil {
			return err
		}
		return a.show(c.Context(), r, func(p *page) { p.remelts(r) })
	}
	return c
}

func (p *page) remelts(r *pb.ForecastRemeltsResponse) {
	p.printf("%s with %.4g %% of returns in every charge, in %% by weight\n\n", last(r.GetAlloy()), r.GetSharePercent())
	head := []string{">MELTS"}
	for _, e := range r.GetElements() {
		head = append(head, ">"+e.GetSymbol(), ">±")
	}
	t := newTable(head...)
	if len(r.GetElements()) > 0 {
		for i, s := range r.GetElements()[0].GetSteps() {
			row := []string{itoa(int64(s.GetMelt()))}
			for _, e := range r.GetElements() {
				row = append(row, fmt.Sprintf("%.3f", e.GetSteps()[i].GetPercent()), fmt.Sprintf("%.3f", e.GetSteps()[i].GetSdPercent()))
			}
			t.add(row...)
		}
	}
	t.write(p)
	var limits []string
	for _, e := range r.GetElements() {
		if e.GetLimit() != nil {
			limits = append(limits, e.GetLimit().GetText())
		}
	}
	p.printf("\nLimits (%s): %s", r.GetLimitSet(), orElse(strings.Join(limits, "; "), "none of these elements"))
	switch {
	case !r.GetPossible():
		p.printf("\nEven new metal alone goes outside the limit of %s with a chance above %.3g %%.\n", r.GetLimitingElement(), r.GetChancePercent())
	case r.GetLimitingElement() == "":
		p.printf("\nReturns alone stay inside without end.\n")
	default:
		p.printf("\nUp to %.1f %% of returns stays inside without end; %s decides it (chance of being outside at most %.3g %%).\n",
			r.GetGreatestSharePercent(), r.GetLimitingElement(), r.GetChancePercent())
	}
	p.printf("Reckoned from the middle of the limits with starting beliefs about what burns off, which are from memory: an analysis now and then tells more.\n")
}

func (a *app) energyCommand() *cobra.Command {
	req := &pb.EstimateMeltEnergyRequest{}
	var from, to string
	c := &cobra.Command{
		Use: "energy ALLOY MASS", Short: "The heat to melt and superheat metal, and the fuel for it",
		Example:           "  remelt energy C87300 60 kg\n  remelt energy 356 \"40 lb\" --to \"1400 F\" --efficiency 15",
		Args:              atLeast("ALLOY", "MASS"),
		ValidArgsFunction: inOrder(a.completeAlloys(), nil),
	}
	f := c.Flags()
	f.StringVar(&from, "from", "", "how warm the charge is; 20 °C unless said")
	f.StringVar(&to, "to", "", "how hot it is made; the middle of its pouring temperatures unless said")
	f.StringVar(&req.EfficiencyPercent, "efficiency", "", "how much of the fuel's heat reaches the metal, in per cent; a range unless said")
	f.StringVar(&req.FurnaceKind, "furnace-kind", "", "the kind of furnace whose range is taken, such as \"gas crucible\"")
	f.StringVar(&req.Furnace, "furnace", "", "a furnace of the shop: its own heats say how well it burns, where their fuel is recorded")
	noFiles(c, "from", "to", "efficiency", "furnace-kind")
	complete(c, map[string]completer{"furnace": a.completePots()})
	c.RunE = func(c *cobra.Command, args []string) error {
		cl, parent, err := a.begin(c.Context())
		if err != nil {
			return err
		}
		req.Parent, req.Alloy, req.Mass = parent, args[0], mass(strings.Join(args[1:], " "))
		if from != "" {
			req.From = &pb.Temperature{Text: from}
		}
		if to != "" {
			req.To = &pb.Temperature{Text: to}
		}
		r, err := cl.Analysis.EstimateMeltEnergy(c.Context(), req)
		if err != nil {
			return err
		}
		return a.show(c.Context(), r, func(p *page) { p.energy(r) })
	}
	return c
}

func (p *page) energy(r *pb.EstimateMeltEnergyResponse) {
	p.printf("%s of %s from %s to %s (liquidus %s)\n\n", r.GetMass().GetText(), last(r.GetAlloy()), orElse(r.GetFrom().GetText(), "0"), r.GetTo().GetText(), r.GetLiquidus().GetText())
	t := newTable("", ">MJ", ">kWh")
	for _, x := range []struct {
		what string
		mj   float64
	}{{"warm the solid", r.GetSensibleMj()}, {"melt it", r.GetLatentMj()}, {"warm the melt", r.GetSuperheatMj()}, {"all", r.GetTotalMj()}} {
		t.add(x.what, fmt.Sprintf("%.2f", x.mj), fmt.Sprintf("%.2f", x.mj/3.6))
	}
	t.write(p)
	p.printf("\nFuel for it, any one of these\n")
	t = newTable("FUEL", ">AMOUNT", "", ">METRIC", "", "EFFICIENCY")
	for _, f := range r.GetFuels() {
		metric := ""
		if f.GetMetricUnit() != "" {
			metric = between(f.GetMetricLow(), f.GetMetricHigh())
		}
		how := between(f.GetEfficiencyFromPercent(), f.GetEfficiencyToPercent()) + " %"
		if f.GetFurnaceKind() != "" {
			how += " (" + f.GetFurnaceKind() + ")"
			if strings.HasPrefix(f.GetEfficiencySource(), "learned") {
				how += ", " + f.GetEfficiencySource()
			}
		}
		t.add(f.GetFuel(), between(f.GetLow(), f.GetHigh()), f.GetUnit(), metric, f.GetMetricUnit(), how)
	}
	t.write(p)
	p.printf("\n")
	var figures []string
	for _, f := range r.GetFigures() {
		figures = append(figures, fmt.Sprintf("%s %.5g %s: %s (%s)", strings.ReplaceAll(f.GetProperty(), "_", " "), f.GetValue(), f.GetUnit(), f.GetSource(), word(f.GetProvenance())))
	}
	p.section("Reckoned from", figures)
	p.section("Notes", r.GetNotes())
	p.cautions(r.GetCautions()...)
}

// between is a range with three digits, or one figure when its ends are the same.
func between(low, high float64) string {
	a, b := threeDigits(low), threeDigits(high)
	if a == b {
		return a
	}
	return a + " to " + b
}

// threeDigits writes a figure with three digits and no exponent.
func threeDigits(x float64) string {
	switch {
	case x >= 100:
		return fmt.Sprintf("%.0f", x)
	case x >= 10:
		return fmt.Sprintf("%.1f", x)
	}
	return fmt.Sprintf("%.2f", x)
}

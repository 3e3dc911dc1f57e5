package main

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/server/paper"
)

func (a *app) lossesCommand() *cobra.Command {
	var chart, check bool
	var first int32
	var level string
	c := &cobra.Command{
		Use: "losses", Short: "What the shop's own heats teach about its losses",
		Long: `What the shop's own heats teach about its losses: what each form of charge loses, how
alloy families, crucibles and furnaces differ, and whether something changed. It begins
with stated beliefs and learns from every heat that is settled.

With --check forecasts are made for past heats from the heats before each, and compared
with what those heats lost.`,
		Example: "  remelt losses\n  remelt losses --chart\n  remelt losses --check --level 90",
		Args:    cobra.NoArgs,
	}
	f := c.Flags()
	f.BoolVar(&chart, "chart", false, "also list every heat beside what was expected of it")
	f.BoolVar(&check, "check", false, "instead: how well forecasts held on past heats")
	f.Int32Var(&first, "first", 0, "with --check: heats to learn from before the first is forecast; 20 unless said")
	f.StringVar(&level, "level", "", "with --check: what the intervals promise, in per cent; 90 unless said")
	noFiles(c, "first", "level")
	c.RunE = func(c *cobra.Command, _ []string) error {
		cl, parent, err := a.begin(c.Context())
		if err != nil {
			return err
		}
		name := parent + "/losses"
		if check {
			r, err := cl.Analysis.CheckLossForecasts(c.Context(), &pb.CheckLossForecastsRequest{Name: name, First: first, LevelPercent: level})
			if err != nil {
				return err
			}
			return a.show(c.Context(), r, func(p *page) { p.coverage(r) })
		}
		r, err := cl.Analysis.GetLosses(c.Context(), &pb.GetLossesRequest{Name: name})
		if err != nil {
			return err
		}
		return a.show(c.Context(), r.GetLosses(), func(p *page) { p.losses(r.GetLosses(), chart) })
	}
	return c
}

// ofCharge is a loss in per cent of the charge.
func ofCharge(r *pb.LossRate) string { return fmt.Sprintf("%.2f", r.GetPercent()) }

func spread(r *pb.LossRate) string { return fmt.Sprintf("%.2f", r.GetSdPercent()) }

func (p *page) losses(l *pb.Losses, chart bool) {
	w := l.GetWhole()
	p.printf("Melt loss, learned from %d of %s (entry %d), in %% of the charge\n\n", w.GetHeats(), plural(int(l.GetHeats()), "heat"), l.GetSequence())
	t := newTable("CHARGE ALL OF", ">LOSES", ">±", ">BELIEVED AT FIRST", ">±")
	for _, e := range paper.LossEffects(w.GetEffects(), p.temp) {
		if what, unit, slope := strings.Cut(e.GetWhat(), ", per "); slope {
			t.add("each "+unit+" of "+what+" adds", fmt.Sprintf("%.4f", e.GetLearned().GetPercent()), fmt.Sprintf("%.4f", e.GetLearned().GetSdPercent()),
				fmt.Sprintf("%.4f", e.GetBelieved().GetPercent()), fmt.Sprintf("%.4f", e.GetBelieved().GetSdPercent()))
			continue
		}
		t.add(e.GetWhat(), ofCharge(e.GetLearned()), spread(e.GetLearned()), ofCharge(e.GetBelieved()), spread(e.GetBelieved()))
	}
	t.write(p)
	if len(w.GetLevels()) > 0 {
		p.printf("\nBeyond that\n")
		t = newTable("", "", ">HEATS", ">MORE", ">±", "")
		for _, v := range w.GetLevels() {
			note := ""
			if v.GetPooled() {
				note = "mostly the rest of the shop's figure"
			}
			t.add(v.GetFactor(), v.GetLevel(), itoa(int64(v.GetHeats())), ofCharge(v.GetEffect()), spread(v.GetEffect()), note)
		}
		t.write(p)
	}
	var differ []string
	for _, s := range w.GetSpreads() {
		differ = append(differ, fmt.Sprintf("%s %.2f", s.GetFactor(), s.GetSdPercent()))
	}
	p.printf("\nStandard deviations: %s.\n%s.\n", strings.Join(differ, ", "), w.GetEstimator())
	if n := len(w.GetLeftOut()); n > 0 {
		p.printf("\nLeft out: %s\n", plural(n, "heat"))
		for _, x := range w.GetLeftOut() {
			p.printf("  heat %s: %s\n", last(x.GetHeat()), x.GetWhy())
		}
	}
	p.lossChart(l.GetChart(), chart)
}

func (p *page) lossChart(c *pb.LossChart, list bool) {
	switch {
	case c.GetHeatsBetweenFalseAlarms() == 0:
		p.printf("\nToo few heats to tell whether something changed.\n")
	case len(c.GetChanges()) == 0:
		p.printf("\nNo lasting change (a false alarm is to be expected once in %.0f heats).\n", c.GetHeatsBetweenFalseAlarms())
	}
	for _, x := range c.GetChanges() {
		more := "more"
		if x.GetDirection() == pb.LossDirection_LOSS_DIRECTION_DOWN {
			more = "less"
		}
		p.printf("\n%s\n", p.strong(fmt.Sprintf("Since heat %s, %s, %s is lost: %+.2f ± %.2f %% of the charge; noticed at heat %s.", last(x.GetHeat()), p.showTime(x.GetPourTime()),
			more, x.GetShift().GetPercent(), x.GetShift().GetSdPercent(), last(x.GetAlarmHeat()))))
		for _, s := range x.GetSuspects() {
			if s.GetChance() < 0.2 {
				p.printf("  not the same: %s (chance %.2g if nothing had changed)\n", s.GetSentence(), s.GetChance())
			}
		}
		p.printf("  What changed at the same time need not be the cause.\n")
	}
	if !list {
		return
	}
	p.printf("\n")
	t := newTable("HEAT", "POURED", ">LOST %", ">±", ">EXPECTED", ">±", ">σ OFF", ">AVERAGE", "")
	for _, h := range c.GetHeats() {
		note := ""
		switch {
		case h.GetOutside():
			note = "beyond 3 σ"
		case h.GetAverageOutside():
			note = "the average is beyond its limits"
		}
		t.add(last(h.GetHeat()), p.showTime(h.GetPourTime()), ofCharge(h.GetWeighed()), spread(h.GetWeighed()), ofCharge(h.GetExpected()), spread(h.GetExpected()),
			fmt.Sprintf("%.1f", h.GetZ()), fmt.Sprintf("%.1f", h.GetAverage()), note)
	}
	t.write(p)
}

func (p *page) coverage(r *pb.CheckLossForecastsResponse) {
	if r.GetHeats() == 0 {
		p.printf("There are not enough settled heats yet to check forecasts on; say how many to begin with by --first.\n")
		return
	}
	p.printf("%.3g %% intervals held %d of %s, %.0f %% (the true share is between %.0f and %.0f %%, 95 %% sure); %d lost less, %d more.\n", r.GetLevelPercent(), r.GetInside(),
		plural(int(r.GetHeats()), "heat"), r.GetInsidePercent(), r.GetInsideFromPercent(), r.GetInsideToPercent(), r.GetBelow(), r.GetAbove())
	p.printf("They were %.2f %% of the charge wide; forecasts were off by %.2f %%, the starting beliefs alone by %.2f %%.\n", r.GetWidthPercent(), r.GetErrorPercent(), r.GetBeliefErrorPercent())
	var tenths []string
	for _, n := range r.GetTenths() {
		tenths = append(tenths, itoa(int64(n)))
	}
	p.printf("Heats by tenth of their forecast: %s\n", strings.Join(tenths, " "))
}

func (a *app) forecastCommand() *cobra.Command {
	req := &pb.ForecastLossRequest{Forms: &pb.ChargeForms{}}
	var charge string
	var superheat, hold float64
	c := &cobra.Command{
		Use: "forecast [HEAT]", Short: "What a heat, or a charge only thought of, will lose",
		Example:           "  remelt forecast 42\n  remelt forecast --alloy C87300 --charge \"60 kg\" --crucible A60 --ingot 50 --gating 50",
		Args:              cobra.MaximumNArgs(1),
		ValidArgsFunction: inOrder(a.completeHeats(), nil),
	}
	f := c.Flags()
	f.StringVar(&req.Alloy, "alloy", "", "instead of a heat: the alloy, by any of its names")
	f.StringVar(&req.Crucible, "crucible", "", "with --alloy: the crucible")
	f.StringVar(&req.Furnace, "furnace", "", "with --alloy: the furnace")
	f.StringVar(&charge, "charge", "", "with --alloy: how much is charged")
	f.StringVar(&req.Forms.IngotPercent, "ingot", "", "with --alloy: how much of it is ingot, in per cent; as the shop melts unless said")
	f.StringVar(&req.Forms.CleanGatingPercent, "gating", "", "with --alloy: how much of it is clean gating, in per cent")
	f.StringVar(&req.Forms.PigsPercent, "pigs", "", "with --alloy: how much of it is pigs, in per cent")
	f.StringVar(&req.Forms.DirtyReturnsPercent, "dirty", "", "with --alloy: how much of it is dirty or thin returns or bought scrap, in per cent")
	f.StringVar(&req.Forms.GrindingsPercent, "grindings", "", "with --alloy: how much of it is grindings, in per cent")
	f.Float64Var(&superheat, "superheat", 0, "with --alloy: kelvins above the liquidus; as usual unless said")
	f.Float64Var(&hold, "hold", 0, "with --alloy: minutes held between melted and poured; as usual unless said")
	f.StringVar(&req.LevelPercent, "level", "", "what the intervals promise, in per cent; 90 unless said")
	complete(c, map[string]completer{"alloy": a.completeAlloys(), "crucible": a.completePots(), "furnace": a.completePots()})
	noFiles(c, "charge", "ingot", "gating", "pigs", "dirty", "grindings", "superheat", "hold", "level")
	c.RunE = func(c *cobra.Command, args []string) error {
		if (len(args) == 1) == (req.GetAlloy() != "") {
			return usagef("give a heat, or --alloy with what else is known of the charge")
		}
		cl, parent, err := a.begin(c.Context())
		if err != nil {
			return err
		}
		req.Parent, req.Charge = parent, mass(charge)
		if len(args) == 1 {
			req.Heat = named(parent, "heats", args[0])
		}
		if c.Flags().Changed("superheat") {
			req.SuperheatKelvin = &superheat
		}
		if c.Flags().Changed("hold") {
			req.HoldMinutes = &hold
		}
		r, err := cl.Analysis.ForecastLoss(c.Context(), req)
		if err != nil {
			return err
		}
		return a.show(c.Context(), r, func(p *page) { p.forecast(r) })
	}
	return c
}

func (p *page) forecast(r *pb.ForecastLossResponse) {
	p.printf("Melt loss of %s", orElse(r.GetFamily(), "an alloy without a family"))
	if r.GetCharge() != nil {
		p.printf(", %s charged", r.GetCharge().GetText())
	}
	if r.GetCrucible() != "" {
		p.printf(", in crucible %s", last(r.GetCrucible()))
	}
	p.printf(", learned from %s\n\n", plural(int(r.GetHeats()), "heat"))
	t := newTable("", ">%", ">FROM", ">TO", ">"+strings.ToUpper(string(p.mass)), ">FROM", ">TO")
	row := func(what string, f *pb.PathForecast) {
		cells := []string{what, ofCharge(f.GetRate()), fmt.Sprintf("%.2f", f.GetLowPercent()), fmt.Sprintf("%.2f", f.GetHighPercent())}
		if f.GetMass() != nil {
			cells = append(cells, p.figure(f.GetMass()), p.figure(f.GetLow()), p.figure(f.GetHigh()))
		}
		t.add(cells...)
	}
	row("melt loss", r.GetWhole())
	for _, f := range r.GetParts() {
		row("  "+word(f.GetPath()), f)
	}
	t.write(p)
	forms := r.GetForms()
	var of []string
	for _, x := range []struct{ what, percent string }{{"ingot", forms.GetIngotPercent()}, {"clean gating", forms.GetCleanGatingPercent()}, {"pigs", forms.GetPigsPercent()},
		{"dirty returns", forms.GetDirtyReturnsPercent()}, {"grindings", forms.GetGrindingsPercent()}} {
		if x.percent != "" {
			of = append(of, x.what+" "+percent(x.percent))
		}
	}
	p.printf("\nFrom and to hold %.3g %% of such heats. Charge: %s (%s).\n", r.GetLevelPercent(), strings.Join(of, ", "), r.GetFormsBasis())
	if len(r.GetUnseen()) > 0 {
		p.printf("Wider because nothing was melted yet in or of %s.\n", strings.Join(r.GetUnseen(), ", "))
	}
}

func orElse(s, other string) string {
	if s == "" {
		return other
	}
	return s
}

package main

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	pb "example.org/remelt/api/remelt/v1"
)

// pourFlags are how molds are poured, as plans ask.
type pourFlags struct {
	from, to, hottest string
	thin, heavy       []string
	cooling, seconds  float64
}

func addPourFlags(c *cobra.Command, cooling string) *pourFlags {
	v := &pourFlags{}
	f := c.Flags()
	f.StringVar(&v.from, "pour-from", "", "pour all molds from this temperature on; the shop's own, printed or read ones of the alloy unless said")
	f.StringVar(&v.to, "pour-to", "", "and up to this")
	f.StringArrayVar(&v.thin, "thin", nil, "a mold to be poured as a thin one, whatever its size; may be said more than once")
	f.StringArrayVar(&v.heavy, "heavy", nil, "a mold to be poured as a heavy one, whatever its size; may be said more than once")
	f.Float64Var(&v.cooling, "cooling", 0, "°C that the melt loses a minute while it is poured; "+cooling)
	f.Float64Var(&v.seconds, "mold-time", 0, "seconds from one mold to the next; 30 unless said")
	f.StringVar(&v.hottest, "hottest-tap", "", "the hottest that the melt may leave the furnace")
	noFiles(c, "pour-from", "pour-to", "thin", "heavy", "cooling", "mold-time", "hottest-tap")
	return v
}

func degrees(typed string) *pb.Temperature {
	if strings.TrimSpace(typed) == "" {
		return nil
	}
	return &pb.Temperature{Text: strings.TrimSpace(typed)}
}

func (a *app) heatProposeCommand() *cobra.Command {
	req := &pb.PlanChargeRequest{}
	var aim, spoken, pourOff, lift, crucible, skull, room, pigMold string
	var take bool
	c := &cobra.Command{
		Use: "propose HEAT", Short: "Propose what goes into a heat, and what that comes to",
		Long: `Propose what goes into a heat that is planned or melting: whole ingots and pigs and
handfuls of loose returns of its alloy, so that the molds that wait are filled with the
chance of running short that you accept, within the crucible, the limits of the alloy
and what else is asked. The boxes are for ticking as pieces go in.

What is not said of the crucible, of pig molds, of cooling and of the tap is as the book
says of the heat's crucible, else of its furnace (see remelt set crucible); a weight or a
volume of 0 is not reckoned, whatever the book says.

Where no charge can be, it says which demands conflict and by how much. It changes
nothing, unless --take books exactly this charge; the heat must be open for that.`,
		Example: "  remelt heat propose 41\n  remelt heat propose 41 --short 2 --pour-off \"5 lb\" --least-returns 50\n  remelt heat propose 41 --take",
		Args:    exactly("HEAT"), ValidArgsFunction: inOrder(a.completeHeats(), nil),
	}
	w, pour := writeFlags(c), addPourFlags(c, "not reckoned when nobody says")
	f := c.Flags()
	f.BoolVar(&take, "take", false, "book exactly this charge, all in one go")
	f.StringVar(&req.ChanceShortPercent, "short", "", "greatest chance that the molds take more than there is, in per cent; 5 unless said")
	f.StringVar(&pourOff, "pour-off", "", "wanted left over, on the average")
	f.StringVar(&req.LeastReturnsPercent, "least-returns", "", "at least this share of the charge is returns, in per cent")
	f.StringVar(&req.MostReturnsPercent, "most-returns", "", "at most this share of the charge is returns, in per cent")
	f.StringVar(&aim, "aim", "", "least-cost, or most-returns among charges hardly heavier than the cheapest; least-cost unless said")
	f.StringVar(&spoken, "spoken", "", "metal spoken for this heat: preferred, must or ignored; preferred unless said")
	f.StringVar(&req.FillPercent, "fill", "", "part of the crucible's usable volume that may be filled, in per cent; 100 when nobody says")
	f.StringVar(&lift, "lift", "", "the most that may be lifted, crucible and metal")
	f.StringVar(&crucible, "crucible-weight", "", "what the empty crucible weighs; needed with --lift, here or in the book")
	f.StringVar(&skull, "skull", "", "what stays in the crucible after the pour")
	f.StringVar(&room, "waiting-room", "", "volume of loose metal that can wait preheated; as much as it takes when nobody says")
	f.StringVar(&pigMold, "pig-mold", "", "what one pig mold holds")
	f.Int32Var(&req.PigMolds, "pig-molds", 0, "how many of them are dry and ready; as many as needed when nobody says")
	f.BoolVar(&req.NoLimits, "no-limits", false, "leave the alloy's composition limits out")
	f.StringVar(&req.ChanceOutsidePercent, "outside", "", "greatest chance of being outside each limit, in per cent; 5 where that can be had unless said")
	f.StringVar(&req.Deoxidiser, "deoxidiser", "", "the supply; the one that heats of this alloy were given unless said")
	f.StringVar(&req.DosePercent, "dose", "", "its share of the melt, in per cent; as in those heats unless said, none when 0")
	f.StringVar(&req.PhosphorusPercent, "phosphorus", "", "phosphorus in the deoxidiser, in per cent")
	noFiles(c, "short", "pour-off", "least-returns", "most-returns", "fill", "lift", "crucible-weight", "skull", "waiting-room", "pig-mold", "pig-molds", "outside", "dose", "phosphorus")
	complete(c, map[string]completer{"aim": fixed(words[pb.ChargeAim]()...), "spoken": fixed(words[pb.SpokenUse]()...), "deoxidiser": a.completeSupplies()})
	c.RunE = func(c *cobra.Command, args []string) (err error) {
		if !take && (w.dryRun || w.who != "" || w.happened != "" || w.reason != "" || w.requestID != "") {
			return usagef("nothing is booked without --take")
		}
		if req.Aim, err = readWord[pb.ChargeAim]("--aim", aim); err != nil {
			return err
		}
		if req.SpokenUse, err = readWord[pb.SpokenUse]("--spoken", spoken); err != nil {
			return err
		}
		cl, parent, err := a.begin(c.Context())
		if err != nil {
			return err
		}
		req.Name = named(parent, "heats", args[0])
		req.PourOff, req.Lift, req.CrucibleMass, req.Skull, req.PigMold = mass(pourOff), mass(lift), mass(crucible), mass(skull), mass(pigMold)
		if room != "" {
			req.WaitingRoom = &pb.Volume{Text: room}
		}
		req.PourFrom, req.PourTo, req.HottestTap = degrees(pour.from), degrees(pour.to), degrees(pour.hottest)
		req.LightMolds, req.HeavyMolds, req.CoolingCelsius, req.SecondsPerMold = pour.thin, pour.heavy, pour.cooling, pour.seconds
		r, err := cl.Planning.PlanCharge(c.Context(), req)
		if err != nil {
			return err
		}
		if !take {
			h, err := cl.Heats.GetHeat(c.Context(), &pb.GetHeatRequest{Name: r.GetHeat()})
			if err != nil {
				return err
			}
			return a.show(c.Context(), r, func(p *page) {
				p.heatLine(h.GetHeat())
				p.proposal(r)
				p.cautions(r.GetCautions()...)
			})
		}
		done, err := send(c.Context(), a, w, cl.Heats.ChargeHeat, &pb.ChargeHeatRequest{Name: r.GetHeat(), Items: r.GetItems(), Heel: r.GetHeel().GetMg() > 0})
		if err != nil {
			return err
		}
		return a.show(c.Context(), done, func(p *page) {
			p.proposal(r)
			p.heatLine(done.GetHeat())
			p.recorded(w, done.GetEntry())
			p.cautions(r.GetCautions()...)
		})
	}
	return c
}

// proposal is a charge to tick off and what it comes to.
func (p *page) proposal(r *pb.PlanChargeResponse) {
	p.takes(r)
	p.outcome(r)
	p.plannedContents(r)
	p.pours("Pour, in this order", r.GetPours())
	if t := r.GetTap(); t != nil {
		p.printf("It leaves the furnace at %s or more.\n\n", t.GetText())
	}
	p.leftOut(r.GetLeftOut())
	p.section("Taken for granted", r.GetNotes())
	p.printf("\n")
}

// fed is when something goes in.
var fed = map[pb.Feed]string{
	pb.Feed_FEED_BED: "into the cold crucible", pb.Feed_FEED_ON_TOP: "preheated, loosely on top", pb.Feed_FEED_AS_IT_SINKS: "preheated, as it sinks",
	pb.Feed_FEED_AT_THE_END: "last, under the surface",
}

func (p *page) takes(r *pb.PlanChargeResponse) {
	p.printf("\nGoes in, in this order\n")
	t := newTable("", "LOT", "WHAT", ">"+string(p.mass), "LIES", "MARKED", "WHEN")
	if r.GetHeel().GetMg() > 0 {
		t.add("[x]", "", "heel", p.figure(r.GetHeel()), "", "", "in the crucible")
	}
	for _, x := range r.GetTakes() {
		what := word(x.GetForm())
		switch {
		case x.GetPiece() > 0:
			what += " " + itoa(int64(x.GetPiece()))
		case x.GetHandfuls() > 0:
			what += ", " + plural(int(x.GetHandfuls()), "handful")
		}
		t.add("[ ]", last(x.GetLot()), what, p.figure(x.GetMass()), last(x.GetPlace()), x.GetLabel(), fed[x.GetFeed()])
	}
	if len(r.GetTakes()) > 0 {
		t.write(p)
	}
	p.printf("\n")
}

func (p *page) outcome(r *pb.PlanChargeResponse) {
	p.printf("What it comes to\n")
	t := newTable("", "", "")
	row := func(what, format string, args ...any) { t.add(" ", what, fmt.Sprintf(format, args...)) }
	row("charge", "%s, %.1f %% of it returns", r.GetCharge().GetText(), r.GetReturnsPercent())
	if m := r.GetInCrucible(); m.GetMg() > 0 {
		row("in the crucible", "%s already", m.GetText())
	}
	row("lost", "about %.1f %%, from %.1f to %.1f %% nine times in ten", r.GetLossPercent(), r.GetLossFromPercent(), r.GetLossToPercent())
	row("molds take", "about %s ± %s (planned %s)", r.GetNeed().GetText(), p.figure(r.GetNeedStandard()), r.GetMolds().GetText())
	row("left over", "about %s", r.GetPourOff().GetText())
	row("runs short", "with a chance of %.1f %%", 100*r.GetChanceShort())
	if m := r.GetCost(); m != nil && r.GetCharge().GetMg() > 0 {
		row("costs", "%s", m.GetText())
	}
	if r.FillPercent != nil {
		row("fills", "%.0f %% of the crucible's usable volume", r.GetFillPercent())
	}
	if m := r.GetLift(); m != nil {
		row("to lift", "%s, crucible and metal", m.GetText())
	}
	if v := r.GetWaiting(); v.GetMm3() > 0 {
		row("waits preheated", "%s of loose metal", v.GetText())
	}
	if n := r.GetPigMolds(); n > 0 {
		row("pig molds", "%d, dry and ready", n)
	}
	if d := r.GetDeoxidiser(); d != "" {
		row("deoxidiser", "%s of %s", r.GetDose().GetText(), last(d))
	}
	for _, f := range r.GetFuels() {
		row("fuel", "%s", p.fuelNeed(f, r.GetHeatMj()))
	}
	row("proof", "%s", r.GetProof().GetSentence())
	t.write(p)
	p.printf("\n")
}

// fuelNeed says how much of a fuel a melt takes, and by whose efficiency.
func (p *page) fuelNeed(f *pb.FuelNeed, mj float64) string {
	amount := between(f.GetLow(), f.GetHigh()) + " " + f.GetUnit()
	if u := f.GetMetricUnit(); u != "" && (p.mass == "g" || p.mass == "kg") {
		amount = between(f.GetMetricLow(), f.GetMetricHigh()) + " " + u
	}
	how := "as a furnace of its kind does: " + f.GetFurnaceKind()
	if strings.HasPrefix(f.GetEfficiencySource(), "learned") {
		how = "on the average, " + f.GetEfficiencySource()
	}
	return fmt.Sprintf("%s of %s for %s MJ at %s %% efficiency (%s)", amount, f.GetFuel(), threeDigits(mj), between(f.GetEfficiencyFromPercent(), f.GetEfficiencyToPercent()), how)
}

func (p *page) plannedContents(r *pb.PlanChargeResponse) {
	if len(r.GetContents()) == 0 {
		return
	}
	p.printf("It should hold, by %s\n", r.GetLimitSet())
	t := newTable(" ELEMENT", ">%", ">±", ">LEAST", ">MOST", ">CHANCE OUTSIDE", "")
	for _, c := range r.GetContents() {
		least, most, binds := "", "", ""
		if c.MinPercent != nil {
			least = fmt.Sprintf("%.4g", c.GetMinPercent())
		}
		if c.MaxPercent != nil {
			most = fmt.Sprintf("%.4g", c.GetMaxPercent())
		}
		if c.GetBinding() {
			binds = "shapes the charge"
		}
		chance := "under 0.1 %"
		if out := 100 * (c.GetBelow() + c.GetAbove()); out >= 0.1 {
			chance = fmt.Sprintf("%.1f %%", out)
		}
		t.add(" "+c.GetTitle(), fmt.Sprintf("%.3f", c.GetPercent()), fmt.Sprintf("%.3f", c.GetSdPercent()), least, most, chance, binds)
	}
	t.write(p)
	p.printf("\n")
}

// pours lists molds in the order of pouring, with their temperatures.
func (p *page) pours(title string, all []*pb.PlannedPour) {
	if len(all) == 0 {
		return
	}
	p.printf("%s\n", title)
	t := newTable(" MOLD", "NAME", ">"+string(p.mass), "AS", "FROM", "TO", "STARTS AT", "")
	for _, x := range all {
		as := ""
		if x.GetPourFrom() != nil {
			as = "heavy"
			if x.GetThin() {
				as = "thin"
			}
		}
		t.add(" "+last(x.GetMold()), x.GetDisplayName(), p.figure(x.GetMass()), as, x.GetPourFrom().GetText(), x.GetPourTo().GetText(), x.GetStart().GetText(), pourNote(x))
	}
	t.write(p)
	p.printf("\n")
}

func pourNote(x *pb.PlannedPour) string {
	var notes []string
	scale, size := "°C", 1.0
	if strings.HasSuffix(x.GetPourFrom().GetText(), "F") { // as the shop reads them
		scale, size = "°F", 9.0/5
	}
	if s := x.GetWaitSeconds(); s >= 1 {
		notes = append(notes, fmt.Sprintf("let it cool %.0f s first", s))
	}
	if c := x.GetTooColdCelsius(); c > 0 {
		notes = append(notes, fmt.Sprintf("%.0f %s too cold at its end", size*c, scale))
	}
	if c := x.GetTooHotCelsius(); c > 0 {
		notes = append(notes, fmt.Sprintf("%.0f %s too hot", size*c, scale))
	}
	return strings.Join(notes, ", ")
}

func (p *page) leftOut(all []*pb.LeftOutLot) {
	if len(all) == 0 {
		return
	}
	p.printf("Not looked at\n")
	t := newTable(" LOT", ">"+string(p.mass), "", "WHY")
	for _, l := range all {
		pieces := ""
		if n := l.GetPieces(); n > 0 {
			pieces = plural(int(n), "piece")
		}
		t.add(" "+last(l.GetLot()), p.figure(l.GetMass()), pieces, l.GetWhy())
	}
	t.write(p)
	p.printf("\n")
}

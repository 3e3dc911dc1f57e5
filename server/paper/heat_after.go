package paper

import (
	"cmp"
	"fmt"
	"strconv"
	"strings"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger/unit"
)

// after draws where a heat's metal went.
func (h *heatSheet) after(s *sheet) {
	t := h.balance.GetTerms()
	title := "Where the metal went, in " + string(h.unit)
	if h.balance.GetProvisional() {
		title += " – provisional"
	}
	s.heading(title)
	for _, why := range h.balance.GetWaiting() {
		s.paragraph("Waiting: "+why+".", 9, false, 2)
	}
	g := s.grid(6, column{head: ""}, column{head: "in", kind: figure, width: 34}, column{head: "out", kind: figure, width: 34}, column{head: "% of what went in", kind: figure, width: 34})
	g.heads()
	in := t.GetMetalIn().GetMg()
	rest := in
	for _, f := range h.balance.GetChargedByForm() {
		g.add(word(f.GetForm())+", charged", h.figure(f.GetMass()), "", share(f.GetMass().GetMg(), in))
		rest -= f.GetMass().GetMg()
	}
	if rest != 0 {
		g.add("additions that became metal, and other", h.figure(&pb.Mass{Mg: rest}), "", share(rest, in))
	}
	out := int64(0)
	for _, o := range []struct {
		name string
		mass *pb.Mass
	}{
		{"castings", t.GetCastings()}, {"returns", t.GetReturns()}, {"pigs", t.GetPigs()}, {"swept up", t.GetSpillKept()}, {"recovered from skimmings", t.GetRecovered()},
		{"given away", t.GetGiven()}, {"heel", t.GetHeel()}, {"in skimmings, estimated", t.GetTrapped()}, {"oxide", t.GetOxide()}, {"vapour", t.GetVapour()},
		{"spilled", t.GetSpilled()}, {"kerf", t.GetKerf()}, {"unaccounted", t.GetUnaccounted()}, {"in the crucible", t.GetInCrucible()}, {"in molds", t.GetInMolds()},
	} {
		if o.mass.GetMg() != 0 {
			out += o.mass.GetMg()
			g.add(o.name, "", h.figure(o.mass), share(o.mass.GetMg(), in))
		}
	}
	g.total("all", h.figure(t.GetMetalIn()), h.figure(&pb.Mass{Mg: out}))
	s.y += 2
	s.fields(4, 0,
		field{name: "yield", value: percent(t.GetYieldPercent())}, field{name: "returned", value: percent(t.GetReturnedPercent())},
		field{name: "melt loss", value: h.mass(t.GetMeltLoss()) + ", " + percent(t.GetMeltLossPercent())},
		field{name: "unaccounted, ± about 95 %", value: h.mass(t.GetUnaccounted()) + " ± " + h.mass(h.balance.GetUncertainty().GetExpanded())})
	h.poured(s)
	h.noted(s)
}

func (h *heatSheet) poured(s *sheet) {
	if len(h.molds) > 0 {
		s.heading("Molds, in " + string(h.unit))
		g := s.grid(6, column{head: "mold", kind: strong, width: 24}, column{head: "name"}, column{head: "state", width: 26}, column{head: "casting, planned", kind: figure, width: 30}, column{head: "gating, planned", kind: figure, width: 30})
		g.heads()
		for _, m := range h.molds {
			g.add(last(m.GetName()), m.GetDisplayName(), word(m.GetState()), h.figure(m.GetMetal()), h.figure(m.GetGating()))
		}
	}
	if len(h.castings) > 0 {
		s.heading("Castings, in " + string(h.unit))
		g := s.grid(6, column{head: "casting", kind: strong, width: 24}, column{head: "name"}, column{head: "stage", width: 26}, column{head: "for", width: 30}, column{head: "weighs", kind: figure, width: 30})
		g.heads()
		for _, c := range h.castings {
			g.add(last(c.GetName()), c.GetDisplayName(), cmp.Or(c.GetGone(), word(c.GetStage())), joined(last(c.GetCustomer()), last(c.GetCommission())), h.figure(weighed(c)))
		}
	}
}

// weighed is what a casting weighs; of one that is gone, what it weighed last.
func weighed(c *pb.Casting) *pb.Mass {
	if n := len(c.GetWeights()); c.GetGone() != "" && n > 0 {
		return c.GetWeights()[n-1].GetMass()
	}
	return c.GetMass()
}

// noted draws temperatures and additions as a line each.
func (h *heatSheet) noted(s *sheet) {
	var read, added []string
	for _, r := range h.readings {
		if !r.GetVoid() {
			read = append(read, strings.TrimSpace(Degrees(r.GetTemperature(), unit.TempUnit(h.GetTemperatureUnit()))+" "+r.GetWhat())+" ("+h.show(r.GetReadTime(), "15:04")+")")
		}
	}
	for _, a := range h.additions {
		if a.GetVoid() {
			continue
		}
		amount := h.mass(a.GetAmount())
		if a.GetPieces() > 0 {
			amount = fmt.Sprintf("%d pcs", a.GetPieces())
		}
		added = append(added, joined(amount+" "+last(a.GetSupply()), a.GetPurpose()))
	}
	if len(read) > 0 {
		s.heading("Temperatures")
		s.paragraph(strings.Join(read, "; "), 9.5, false, 4)
	}
	if len(added) > 0 {
		s.heading("Additions")
		s.paragraph(strings.Join(added, "; "), 9.5, false, 4)
	}
}

// percent is a share for reading: the API's exact one to a tenth.
func percent(exact string) string {
	f, err := strconv.ParseFloat(exact, 64)
	if err != nil {
		return exact
	}
	return strconv.FormatFloat(f, 'f', 1, 64) + " %"
}

// share is a part of a whole in per cent to a tenth; "" when there is no whole.
func share(part, whole int64) string {
	if whole == 0 {
		return ""
	}
	return fmt.Sprintf("%.1f", 100*float64(part)/float64(whole))
}

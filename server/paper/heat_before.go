package paper

import (
	"fmt"
	"math"

	pb "example.org/remelt/api/remelt/v1"
)

// before draws what a heat is melted and poured by.
func (h *heatSheet) before(s *sheet) {
	pigs := "pig molds dry and ready"
	if n := h.plan.GetPigMolds(); n > 0 {
		pigs = fmt.Sprintf("%d %s", n, pigs)
	}
	// What to look at before the furnace is lit: common practice, no source.
	s.checks("crucible looked at", "metal dry, preheating", "tools dry, preheated", "molds dry", pigs, "everyone knows the order")
	h.charge(s)
	h.pours(s)
	s.heading("To write down")
	temperature := "temperature, °" + h.GetTemperatureUnit()
	s.fields(4, 13,
		field{name: "furnace lit at", box: true}, field{name: "melted down at", box: true}, field{name: "out of the furnace at", box: true}, field{name: temperature, box: true},
		field{name: "flux, degasser: how much", box: true}, field{name: "poured from – until", box: true}, field{name: "skimmed, " + string(h.unit), box: true}, field{name: "pigs poured off, " + string(h.unit), box: true},
		field{name: "spilled, " + string(h.unit), box: true}, field{name: "fuel: meter before", box: true}, field{name: "fuel: meter after", box: true}, field{name: "melted by", box: true},
	)
}

// checks draws boxes to tick, side by side.
func (s *sheet) checks(all ...string) {
	const across = 3
	w, row := (s.right-s.left)/across, 6.4*s.tight
	for i, text := range all {
		if i%across == 0 {
			s.room(row)
		}
		x := s.left + float64(i%across)*w
		s.box(x, s.y+0.7, 4.6, 4.6, 0.35)
		s.font(9.5, false)
		s.at(x+6.2, s.y+4.4, s.fit(text, w-7))
		if i%across == across-1 || i == len(all)-1 {
			s.y += row
		}
	}
}

// charge draws what goes in, piece by piece, with a box to tick and one for what
// was weighed.
func (h *heatSheet) charge(s *sheet) {
	title := "Charge"
	if h.plan != nil {
		title += ", " + h.mass(h.plan.GetCharge()) + " to go in"
		if m := h.plan.GetHeel(); m.GetMg() != 0 {
			title += " and the heel of " + h.mass(m)
		}
	}
	if m := h.heat.GetInCrucible(); m.GetMg() != 0 {
		title += ", " + h.mass(m) + " in the crucible already"
	}
	s.heading(title)
	if h.noPlan != "" {
		s.paragraph("No charge can be proposed: "+h.noPlan, 9, false, 3)
		s.y += 1
	}
	g := s.grid(8, column{head: "in", kind: tick, width: 9}, column{head: "lot", kind: strong, width: 27}, column{head: "what", share: 1.3}, column{head: "where", share: 0.7},
		column{head: "when", share: 1.3}, column{head: "planned, " + string(h.unit), kind: figure, width: 24}, column{head: "weighed, " + string(h.unit), kind: blank, width: 32})
	g.heads()
	for _, t := range h.plan.GetTakes() {
		what := word(t.GetForm())
		switch {
		case t.GetPiece() > 0:
			what += fmt.Sprintf(", piece %d", t.GetPiece())
		case t.GetHandfuls() == 1:
			what += ", 1 handful"
		case t.GetHandfuls() > 1:
			what += fmt.Sprintf(", %d handfuls", t.GetHandfuls())
		}
		if t.GetLabel() != "" {
			what += " “" + t.GetLabel() + "”"
		}
		g.add("", last(t.GetLot()), what, last(t.GetPlace()), feeds[t.GetFeed()], h.figure(t.GetMass()))
	}
	spare := 2
	if h.plan == nil {
		spare = 6
	}
	for range spare {
		g.add()
	}
	if h.plan.GetDeoxidiser() != "" {
		g.add("", last(h.plan.GetDeoxidiser()), "deoxidiser", "", "before pouring", h.figure(h.plan.GetDose()))
	}
}

// feeds says when something is fed; hot is preheated beside the furnace.
var feeds = map[pb.Feed]string{
	pb.Feed_FEED_BED:         "cold, as a bed",
	pb.Feed_FEED_ON_TOP:      "hot, loosely on top",
	pb.Feed_FEED_AS_IT_SINKS: "hot, as it sinks",
	pb.Feed_FEED_AT_THE_END:  "last, under the surface",
}

// pours draws the molds in the order of pouring.
func (h *heatSheet) pours(s *sheet) {
	title := "Molds, in the order of pouring"
	turns := h.plan.GetPours()
	if h.plan == nil {
		title = "Molds"
		for _, m := range h.molds {
			turns = append(turns, &pb.PlannedPour{Mold: m.GetName(), DisplayName: m.GetDisplayName(), Mass: &pb.Mass{Mg: m.GetMetal().GetMg() + m.GetGating().GetMg()}})
		}
	}
	if t := h.plan.GetTap(); t != nil {
		title += "; out of the furnace at " + t.GetText() + " or hotter"
	}
	s.heading(title)
	g := s.grid(8.5, column{head: "", kind: figure, width: 7}, column{head: "mold", kind: strong, width: 22}, column{head: "name"}, column{head: "takes, " + string(h.unit), kind: figure, width: 22},
		column{head: "pour at", width: 38}, column{head: "poured", kind: tick, width: 12}, column{head: "temperature", kind: blank, width: 24}, column{head: "filled, short, leaked", kind: blank, width: 34})
	g.heads()
	for i, t := range turns {
		at := ""
		if t.GetPourFrom() != nil {
			at = t.GetPourFrom().GetText() + " to " + t.GetPourTo().GetText()
		}
		if w := t.GetWaitSeconds(); w >= 1 {
			at += fmt.Sprintf(", after %.0f s", math.Ceil(w))
		}
		g.add(fmt.Sprint(i+1), last(t.GetMold()), t.GetDisplayName(), h.figure(t.GetMass()), at)
	}
	g.add()
	if m := h.plan.GetPourOff(); m.GetMg() > 0 {
		s.y += 1
		s.paragraph("About "+h.mass(m)+" is left over, to be poured off into pigs.", 9, false, 1)
	}
}

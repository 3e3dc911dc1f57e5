package alloy

import (
	"fmt"
	"slices"
	"strings"
)

// ComesFirst ends every caution.
const ComesFirst = "Local codes, safety data sheets and licensed practice come first."

// Caution is a short warning that follows from what is in a charge or a heat.
// Text always ends with ComesFirst; Because names the facts that called for it.
type Caution struct {
	Code    string // stable, for programs
	Text    string
	Because string
}

// Codes of the cautions.
const (
	CautionWetMetal  = "wet-metal"
	CautionZincFume  = "zinc-fume"
	CautionLead      = "lead"
	CautionBeryllium = "beryllium"
	CautionMagnesium = "magnesium"
	CautionDross     = "aluminium-dross"
	CautionSilica    = "silica"
	CautionChlorine  = "chlorine-degasser"
	CautionOverfill  = "overfill"
	CautionUnknown   = "unknown-metal"
)

// Facts is what a plan, a heat or a label knows. The zero value of a field means
// "not known" or "no"; contents that are not known are taken from the limits of
// the alloys, at their greatest.
type Facts struct {
	Alloys     []Alloy            // of the charge and of what it is poured as
	Content    map[string]float64 // weight %, where an estimate or a certificate is at hand
	Parts      []Part             // what is known of single lots of the metal, where their alloys do not say as much
	Melt       bool               // something is melted or poured
	Wet        bool               // returns or ingot known or feared to be damp
	Dirty      bool               // sand or investment still on returns
	Investment bool               // break-out, blasting or cleaning of moulds and returns
	Skimmings  bool               // dross or skimmings are handled or kept
	Degasser   bool               // a degassing tablet that gives off chlorine is among the additions
	Fill       float64            // charge ÷ working capacity of the crucible, by volume; 0 not known
	PourC      float64            // °C, 0 not known
}

// Part is what some of the metal is known to hold, by a certificate or an assay or by what
// it was melted from.
type Part struct {
	Of      string             // such as "lot L7"
	Content map[string]float64 // weight %
}

// Thresholds in weight %. Common practice, no source: they decide when a caution
// is shown, not when metal is harmless, and every caution errs towards being shown.
const (
	zincShown      = 1.0
	leadShown      = 0.1
	berylliumShown = 0.0005
	magnesiumShown = 1.0
	fillShown      = 0.9
)

// zincBoilsC is the boiling point of zinc, °C (embedded figures, CRC Handbook).
const zincBoilsC = 907

// Cautions lists the cautions that follow from the facts, in a fixed order. No
// caution in the list does not mean that nothing can go wrong.
func Cautions(f Facts) []Caution {
	var out []Caution
	add := func(code, because, text string) {
		out = append(out, Caution{Code: code, Text: text + " " + ComesFirst, Because: because})
	}
	if f.Melt || f.Wet || f.Dirty {
		because := "metal is melted or poured"
		if f.Wet {
			because = "some of the metal may be damp"
		} else if f.Dirty {
			because = "sand or investment on returns holds water"
		}
		add(CautionWetMetal, because, "Metal, tools, pig molds and additions must be dry and preheated before they touch the melt: trapped water turns to steam and throws metal.")
	}
	if why := f.holds("Zn", zincShown); why != "" {
		because := fmt.Sprintf("%s; zinc boils at %d °C", why, zincBoilsC)
		if f.PourC > 0 {
			because += fmt.Sprintf(", the pour is at %.0f °C", f.PourC)
		}
		add(CautionZincFume, because, "Zinc fume makes people ill hours later: keep it out of the breathing zone, with ventilation and respiratory protection suited to metal fume.")
	}
	if why := f.holds("Pb", leadShown); why != "" {
		add(CautionLead, why, "Fume, dross, grindings and dust of this metal hold lead: no eating or smoking near it, separate clothes, washing, and nothing from it for food or drink.")
	}
	if why := f.holds("Be", berylliumShown); why != "" {
		add(CautionBeryllium, why, "Fume and dust of metal that holds beryllium harm the lungs for good, also in traces: melt, grind and blast it only with controls meant for beryllium.")
	}
	if why := f.holds("Mg", magnesiumShown); why != "" {
		add(CautionMagnesium, why, "Melts, fine chips and grindings rich in magnesium burn fiercely and water feeds the fire: use only extinguishing agents meant for burning metal, keep chips dry and apart.")
	}
	if f.anyOf(Aluminium) && (f.Melt || f.Skimmings) {
		add(CautionDross, "aluminium is melted or skimmed", "Hot aluminium dross goes on heating itself and gives off gas that burns when wet: keep it dry, spread and covered, and never quench it with water.")
	}
	if f.Investment || f.Dirty {
		add(CautionSilica, "investment or sand is broken out, blasted or ground off", "Dust of investment, shell and sand holds crystalline silica that scars the lungs: work wet or under extraction, with respiratory protection, and do not sweep dry.")
	}
	if f.Degasser {
		add(CautionChlorine, "a degasser that gives off chlorine is among the additions", "The tablet gives off toxic, corrosive fume and is restricted in many places: prefer an inert gas, and never use it without extraction.")
	}
	if f.Fill > fillShown {
		because := fmt.Sprintf("the charge fills %.0f %% of the working capacity", 100*f.Fill)
		add(CautionOverfill, because, "A crucible filled too high spills when it is lifted, skimmed or fed: leave room below the rim and split the heat when in doubt.")
	}
	if slices.ContainsFunc(f.Alloys, Alloy.IsUnknown) {
		add(CautionUnknown, "the alloy of some metal is not known", "Metal that nobody has identified may hold lead, beryllium, magnesium, cadmium or sealed hollows: keep it out of the furnace until it is known.")
	}
	return out
}

func (f Facts) anyOf(k Kind) bool {
	return slices.ContainsFunc(f.Alloys, func(a Alloy) bool { return a.Kind == k })
}

// holds says which facts put an element at or above a share, "" when none does.
func (f Facts) holds(element string, shown float64) string {
	var why []string
	if v, ok := f.Content[element]; ok && v >= shown {
		why = append(why, fmt.Sprintf("the charge holds about %s %% %s", about(v), element))
	}
	for _, a := range f.Alloys {
		for _, s := range a.Limits {
			l, ok := s.Limit(element)
			if !ok || !s.Current || !l.Remainder && max(l.Min, l.Max) < shown {
				continue
			}
			switch {
			case l.Remainder:
				why = append(why, fmt.Sprintf("%s is mostly %s", a.ID, element))
			case l.HasMin && l.HasMax:
				why = append(why, fmt.Sprintf("%s holds %g–%g %% %s", a.ID, l.Min, l.Max, element))
			case l.HasMin:
				why = append(why, fmt.Sprintf("%s holds at least %g %% %s", a.ID, l.Min, element))
			default:
				why = append(why, fmt.Sprintf("%s may hold up to %g %% %s", a.ID, l.Max, element))
			}
			break
		}
	}
	if why == nil {
		greatest, of := 0.0, ""
		for _, p := range f.Parts {
			if v := p.Content[element]; v >= shown && v > greatest {
				greatest, of = v, p.Of
			}
		}
		if of != "" {
			why = append(why, fmt.Sprintf("%s holds about %s %% %s", of, about(greatest), element))
		}
	}
	slices.Sort(why)
	return strings.Join(slices.Compact(why), "; ")
}

// about is a content to two digits.
func about(percent float64) string {
	if percent >= 99.5 {
		return "100"
	}
	return fmt.Sprintf("%.2g", percent)
}

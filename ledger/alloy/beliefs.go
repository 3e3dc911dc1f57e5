package alloy

import "math"

// Belief is what to reckon with before a shop has figures of its own: an effect
// of one melt on one element of one family. All of them are flagged Memory: a
// shop may and should replace them, and nothing may be proved by them.
type Belief struct {
	Family Family
	Effect Effect
	Source string
	Flag   Flag
	Note   string
}

// Where no figure was found at all the program assumes one; it says so.
const (
	recalled = "from memory, low confidence"
	assumed  = "assumption of this program, no figure found"
)

// Beliefs lists the starting beliefs. The doubt of a recalled range is that of a
// rectangular distribution over it; half as much again is given to single heats,
// which is an assumption too.
func Beliefs() []Belief {
	var out []Belief
	// part gives the loss of an element as a part of it, from a range in points of
	// the charge and the content it was said of.
	part := func(f Family, e string, low, high, content float64, note string) {
		mean, sd := (low+high)/2/content, (high-low)/math.Sqrt(12)/content
		out = append(out, Belief{Family: f, Effect: Effect{Element: e, Loss: Drift{Mean: mean, SD: sd, HeatSD: sd / 2}}, Source: recalled, Flag: Memory, Note: note})
	}
	for _, f := range []Family{YellowBrass, ManganeseBronze, WhiteBrass, SiliconBrass} {
		part(f, "Zn", 0.5, 2, 28, "zinc lost per melt 0.5–2 % of the charge for yellow brass, reckoned at 28 % zinc; other high-zinc families by likeness")
	}
	for _, f := range []Family{RedBrass, TinBronze, LeadedTinBronze, SiliconBronze} {
		part(f, "Zn", 0.2, 0.5, 5, "zinc lost per melt 0.2–0.5 % of the charge for 85-5-5-5, reckoned at 5 % zinc; other low-zinc families by likeness")
	}
	for _, f := range []Family{AluminiumSilicon, AluminiumMagnesium, AluminiumZinc} {
		part(f, "Mg", 0.01, 0.05, 0.35, "magnesium lost per remelt 0.01–0.05 points of A356, reckoned at 0.35 %; other aluminium families by likeness")
	}
	assume := func(f Family, e Effect, note string) {
		out = append(out, Belief{Family: f, Effect: e, Source: assumed, Flag: Memory, Note: note})
	}
	slight := Drift{Mean: 0.01, SD: 0.01, HeatSD: 0.005}
	for _, f := range []Family{SiliconBronze, SiliconBrass} {
		assume(f, Effect{Element: "Si", Loss: slight}, "silicon burns before copper")
		assume(f, Effect{Element: "Mn", Loss: slight}, "manganese burns before copper")
	}
	for _, f := range []Family{AluminiumBronze, ManganeseBronze} {
		assume(f, Effect{Element: "Al", Loss: slight}, "aluminium burns before copper")
	}
	for _, f := range []Family{RedBrass, YellowBrass, SiliconBronze, SiliconBrass, TinBronze, LeadedTinBronze, AluminiumSilicon, AluminiumMagnesium, AluminiumZinc} {
		assume(f, Effect{Element: "Fe", Pickup: Drift{Mean: 0.005, SD: 0.005, HeatSD: 0.002}}, "iron from tools, skimmers and pig molds")
	}
	return out
}

// StartingEffects returns the beliefs for a family as effects for a Melt.
func StartingEffects(f Family) []Effect {
	var out []Effect
	for _, b := range Beliefs() {
		if b.Family == f {
			out = append(out, b.Effect)
		}
	}
	return out
}

package alloy

// Flag says how far a figure can be trusted.
type Flag string

// Flags.
const (
	Yes     Flag = "yes"     // read in a published text
	Memory  Flag = "memory"  // from memory; an editable default at most
	Derived Flag = "derived" // computed by rule from a figure that was read
	Shop    Flag = "shop"    // entered by the shop
)

// Property names what a Figure measures.
type Property string

// Properties.
const (
	Density            Property = "density"              // g/cm³ at 20 °C
	Solidus            Property = "solidus"              // °C
	Liquidus           Property = "liquidus"             // °C
	PourLight          Property = "pour_light"           // °C, thin sections
	PourHeavy          Property = "pour_heavy"           // °C, heavy sections
	LatentHeat         Property = "latent_heat"          // J/g
	SpecificHeat       Property = "specific_heat"        // J/(kg·K)
	LiquidDensity      Property = "liquid_density"       // g/cm³ at the melting point
	LiquidDensitySlope Property = "liquid_density_slope" // kg/(m³·K) above it
	Melting            Property = "melting"              // °C
	Boiling            Property = "boiling"              // °C
	Shrinkage          Property = "shrinkage"            // % linear, the patternmaker's allowance
	ShrinkageInFt      Property = "shrinkage_in_per_ft"  // in/ft, the same as printed
)

// Figure is one value of one property as one source gives it. High is above
// Value when the source gives a range, and 0 otherwise.
type Figure struct {
	Property Property
	Value    float64
	High     float64
	Unit     string
	Source   string
	Verified Flag
	Suspect  bool // the source itself, or its disagreement with another, casts doubt on it
	Note     string
}

// Mid returns the middle of a range, or the single value.
func (f Figure) Mid() float64 {
	if f.High > f.Value {
		return (f.Value + f.High) / 2
	}
	return f.Value
}

// Best picks the figure of property p to use: the shop's own first, then one
// that was read in print, then a derived one, then one from memory; among equals
// one that is not suspect; among those the first. It reports whether there is any.
func Best(figures []Figure, p Property) (Figure, bool) {
	var best Figure
	found := false
	for _, f := range figures {
		if f.Property != p {
			continue
		}
		if !found || trust(f) > trust(best) {
			best, found = f, true
		}
	}
	return best, found
}

// trust orders figures: the flag decides, doubt breaks ties.
func trust(f Figure) int {
	t := map[Flag]int{Shop: 6, Yes: 4, Derived: 2, Memory: 0}[f.Verified]
	if !f.Suspect {
		t++
	}
	return t
}

// Alloy is an alloy of the table: a designation, the names it goes by, its
// family and every figure and limit set known of it.
type Alloy struct {
	ID      string // designation, e.g. "C87300", "356.0", or a shop's own
	UNS     string // number in the Unified Numbering System, "" for a shop's own mixture
	Names   []string
	Kind    Kind
	Family  Family
	Figures []Figure
	Limits  []LimitSet
	Shop    bool // added by the shop
}

// Figure returns the figure of property p to use, by Best.
func (a Alloy) Figure(p Property) (Figure, bool) { return Best(a.Figures, p) }

// Kind is the base metal of an alloy.
type Kind string

// Base metals.
const (
	Copper    Kind = "copper alloy"
	Aluminium Kind = "aluminium alloy"
	Zinc      Kind = "zinc alloy"
	OtherKind Kind = "other"
)

// Family groups alloys whose returns a shop may keep and melt together without
// spoiling them. It is coarse on purpose: metal of two families never mixes.
type Family string

// Families.
const (
	RedBrass           Family = "red brass"
	YellowBrass        Family = "yellow brass"
	ManganeseBronze    Family = "manganese bronze"
	SiliconBronze      Family = "silicon bronze"
	SiliconBrass       Family = "silicon brass"
	TinBronze          Family = "tin bronze"
	LeadedTinBronze    Family = "leaded tin bronze"
	AluminiumBronze    Family = "aluminium bronze"
	WhiteBrass         Family = "white manganese brass"
	AluminiumSilicon   Family = "aluminium-silicon"
	AluminiumMagnesium Family = "aluminium-magnesium"
	AluminiumZinc      Family = "aluminium-zinc"
	ZincAluminium      Family = "zinc-aluminium"
	NoFamily           Family = "unknown"
)

// UnknownID is the alloy of metal that nobody has identified. It is a value like
// any other (a lot may be of it) but has no family, no limits and no figures.
const UnknownID = "unknown"

// Unknown is that alloy.
func Unknown() Alloy {
	return Alloy{ID: UnknownID, Names: []string{"not identified", "alloy unsure"}, Kind: OtherKind, Family: NoFamily}
}

// IsUnknown reports whether the alloy is unidentified metal.
func (a Alloy) IsUnknown() bool { return a.ID == UnknownID }

package ledger

import "time"

// Kinds of record. The JSON of the struct of the same name is the record's body.
const (
	RecShop     RecordKind = "shop"
	RecPlace    RecordKind = "place"
	RecScale    RecordKind = "scale"
	RecTare     RecordKind = "tare"
	RecParty    RecordKind = "party" // suppliers, customers, people of the shop
	RecAlloy    RecordKind = "alloy"
	RecPot      RecordKind = "pot" // crucibles and furnaces
	RecSupply   RecordKind = "supply"
	RecLot      RecordKind = "lot"
	RecHeat     RecordKind = "heat"
	RecMold     RecordKind = "mold"
	RecCasting  RecordKind = "casting"
	RecReading  RecordKind = "reading"  // temperatures of a heat
	RecAddition RecordKind = "addition" // flux and the like given to a heat
	RecCount    RecordKind = "stocktake"
)

// Shop is what a shop has chosen for itself.
type Shop struct {
	ID          string `json:"id"`
	Name        string `json:"name"`
	MassUnit    string `json:"mass_unit"`        // kg or lb; what a bare number means and how figures are shown
	TempUnit    string `json:"temperature_unit"` // C or F
	Currency    string `json:"currency"`         // ISO 4217
	TimeZone    string `json:"time_zone"`        // IANA name; days of reports begin there
	TrappedPPM  PPM    `json:"trapped_ppm"`      // share of skimmings taken to be trapped metal
	TrappedSpan PPM    `json:"trapped_span_ppm"` // plus or minus of that share
}

// Place is a shelf, bin or corner.
type Place struct {
	ID   string `json:"id"`
	Name string `json:"name"`
}

// Scale is a named scale and what is known of how far it may be trusted.
type Scale struct {
	ID       string    `json:"id"`
	Name     string    `json:"name"`
	Division Quantity  `json:"division"`          // d, what the last digit shows; as typed, since 0.1 lb is no whole number of milligrams
	Interval Quantity  `json:"interval,omitzero"` // e, the verification interval; the division unless given
	Class    string    `json:"class,omitempty"`   // as on the plate: I, II, III, IIII (OIML R 76) or III L (Handbook 44)
	Rule     string    `json:"rule,omitempty"`    // RuleOIML or RuleHB44, whose limits of error hold
	Capacity Mass      `json:"capacity_mg,omitempty"`
	Checked  time.Time `json:"checked,omitzero"`

	// The last check with known weights, if one is to be believed instead of the
	// limits: what stood on the scale, shown minus true, and the standard
	// uncertainty of the weights. And the standard deviation of repeated readings.
	CheckLoad  Mass `json:"check_load_mg,omitempty"`
	CheckError Mass `json:"check_error_mg,omitempty"`
	CheckU     Mass `json:"check_u_mg,omitempty"`
	Repeats    Mass `json:"repeatability_mg,omitempty"`
	Readings   int  `json:"repeatability_readings,omitempty"`

	// What it says over its serial port, and how that is set: see package readout.
	Line string `json:"line_pattern,omitempty"`
	Port string `json:"line_settings,omitempty"`
}

// Rules for the limits of error of a scale in service.
const (
	RuleOIML = "OIML R 76"
	RuleHB44 = "NIST Handbook 44"
)

// Tare is a saved empty weight: a pan, a bin, a bucket with a mark on it.
type Tare struct {
	ID   string   `json:"id"`
	Name string   `json:"name"`
	Mass Quantity `json:"mass"`
}

// Roles a party may have.
const (
	RoleSupplier = "supplier"
	RoleCustomer = "customer"
	RoleMelter   = "melter"
)

// Party is someone the shop deals with or who works there.
type Party struct {
	ID    string   `json:"id"`
	Name  string   `json:"name"`
	Roles []string `json:"roles"` // RoleSupplier, RoleCustomer, RoleMelter
}

// Alloy is an alloy of the shop's own, or further names for a built-in one.
type Alloy struct {
	ID           string   `json:"id"`
	Names        []string `json:"names,omitempty"`
	Family       string   `json:"family,omitempty"`
	DensityMgCm3 int64    `json:"density_mg_cm3,omitempty"`
	PourFromC    int64    `json:"pour_from_mdeg,omitempty"` // milli degrees Celsius
	PourToC      int64    `json:"pour_to_mdeg,omitempty"`
	Limits       []Limit  `json:"limits,omitempty"`
	Source       string   `json:"source,omitempty"`
}

// Limit is a range of an element in ppm by weight.
type Limit struct {
	Element string `json:"element"`
	MinPPM  PPM    `json:"min_ppm,omitempty"`
	MaxPPM  PPM    `json:"max_ppm,omitempty"` // 0 is no upper limit, unless None is set
	None    bool   `json:"none,omitempty"`    // there may be none of it
	Rest    bool   `json:"rest,omitempty"`
}

// HasMax reports whether there is an upper limit.
func (l Limit) HasMax() bool { return l.MaxPPM > 0 || l.None }

// Supply is an item that is used up: flux, degasser, deoxidiser, crucibles.
type Supply struct {
	ID         string `json:"id"`
	Name       string `json:"name"`
	Purpose    string `json:"purpose"` // flux, degasser, deoxidiser, grain refiner, crucible, welding rod, other
	InPieces   bool   `json:"in_pieces,omitempty"`
	MetalPPM   PPM    `json:"metal_ppm,omitempty"` // share that becomes part of the melt (phosphor copper: all of it)
	Caution    string `json:"caution,omitempty"`
	OrderBelow int64  `json:"order_below,omitempty"`
}

// Form is what a lot's metal looks like.
type Form string

// Forms of metal in a lot.
const (
	Ingot       Form = "ingot"
	Cup         Form = "cup"
	Gating      Form = "gating"
	Riser       Form = "riser"
	Pig         Form = "pig"
	ScrapCast   Form = "scrap-casting"
	BoughtScrap Form = "bought-scrap"
	Grindings   Form = "grindings"
	Skimmings   Form = "skimmings"
	SpillForm   Form = "spill"
	Prills      Form = "prills" // metal crushed and screened out of skimmings
	UnknownForm Form = "unknown"
)

// Condition says whether a lot may be used.
type Condition string

// Conditions of a lot.
const (
	ToClean  Condition = "to-be-cleaned"
	Clean    Condition = "clean"
	SetApart Condition = "held"
)

// UnknownAlloy is the alloy of metal nobody has identified; it is held apart.
const UnknownAlloy = "unknown"

// Lot is an amount of one alloy in one form and place. Its mass is the balance
// of its account, not part of the record.
type Lot struct {
	ID          string       `json:"id"`
	Alloy       string       `json:"alloy"`
	AlloySure   bool         `json:"alloy_sure"`
	Form        Form         `json:"form"`
	Condition   Condition    `json:"condition"`
	HeldWhy     string       `json:"held_why,omitempty"`
	HeldFrom    Condition    `json:"held_from,omitempty"` // the condition to go back to
	Place       string       `json:"place,omitempty"`
	Owner       string       `json:"owner,omitempty"` // customer whose metal it is; empty for the shop's
	Label       string       `json:"label,omitempty"`
	Pieces      int64        `json:"pieces,omitempty"`
	From        []Source     `json:"from,omitempty"`
	Candidates  []string     `json:"candidates,omitempty"` // heats it may be of, when that is to be settled later
	Certificate *Certificate `json:"certificate,omitempty"`
	Price       *Price       `json:"price,omitempty"`
	Skim        *Skim        `json:"skim,omitempty"`
	SpokenFor   []Claim      `json:"spoken_for,omitempty"`
	Void        bool         `json:"void,omitempty"` // its entry was reversed
}

// Source is where a share of a lot's metal came from: an account, and how much.
type Source struct {
	Account Account `json:"account"`
	Mass    Mass    `json:"mg"`
}

// Certificate is a certificate of analysis or a measurement of composition.
type Certificate struct {
	Number   string    `json:"number,omitempty"`
	Method   string    `json:"method,omitempty"` // certificate, xrf, spark, wet; free text
	Date     time.Time `json:"date,omitzero"`
	Elements []Element `json:"elements,omitempty"`
}

// Element is a measured content in ppm by weight, with its standard deviation if known.
type Element struct {
	Symbol string `json:"symbol"`
	PPM    PPM    `json:"ppm"`
	SDPPM  PPM    `json:"sd_ppm,omitempty"`
}

// Price is what was paid, as typed, and what it came to. A price in another
// currency than the book's has what it came to there too, by the rate of exchange.
type Price struct {
	Typed        string `json:"typed,omitempty"`
	Minor        int64  `json:"minor"`
	Currency     string `json:"currency"`
	Exchange     string `json:"exchange,omitempty"` // "1.0832 USD/EUR"
	BookMinor    int64  `json:"book_minor,omitempty"`
	BookCurrency string `json:"book_currency,omitempty"`
}

// Skim is what a lot of skimmings is made of: the lot's account holds Trapped.
type Skim struct {
	Heat    string `json:"heat"`
	Net     Mass   `json:"net_mg"`   // all that was skimmed
	Added   Mass   `json:"added_mg"` // flux and grit in it
	Trapped Mass   `json:"trapped_mg"`
	Oxide   Mass   `json:"oxide_mg"`
	InOxide Mass   `json:"in_oxide_mg"` // metal equivalent of the oxide
	Share   PPM    `json:"metal_in_oxide_ppm"`
}

// Claim is metal of a lot that is spoken for.
type Claim struct {
	For  string `json:"for"` // a heat or a commission
	Mass Mass   `json:"mg"`
}

// HeatState is how far a heat has come.
type HeatState string

// States of a heat. A heat is provisional until it is settled.
const (
	Planned HeatState = "planned"
	Melting HeatState = "melting" // open: charges, additions, pours
	Late    HeatState = "late"    // poured; castings and returns are still to be weighed
	Settled HeatState = "settled" // everything expected is weighed or written off
	Dropped HeatState = "dropped" // planned and not melted
)

// Heat is one melt of one alloy in one crucible.
type Heat struct {
	ID       string    `json:"id"`
	Alloy    string    `json:"alloy"`
	Owner    string    `json:"owner,omitempty"`
	State    HeatState `json:"state"`
	Crucible string    `json:"crucible,omitempty"`
	Furnace  string    `json:"furnace,omitempty"`
	Melter   string    `json:"melter,omitempty"`
	Planned  time.Time `json:"planned,omitzero"`
	Opened   time.Time `json:"opened,omitzero"`
	Poured   time.Time `json:"poured,omitzero"`
	Settled  time.Time `json:"settled,omitzero"`
	Limits   string    `json:"limits,omitempty"`            // the dated limit set its castings are judged by, kept though editions change
	Charge   Mass      `json:"charge_mg,omitempty"`         // planned charge
	Expected *PPM      `json:"expected_loss_ppm,omitempty"` // of the charge, as the heats before let expect when it was settled; kept where the costing asks
	Note     string    `json:"note,omitempty"`
}

// MoldState is what became of a mold.
type MoldState string

// States of a mold.
const (
	MoldPlanned MoldState = "planned"
	MoldPoured  MoldState = "poured"
	MoldShort   MoldState = "short"  // not filled
	MoldLeaked  MoldState = "leaked" // ran out
	MoldUnused  MoldState = "unused"
)

// Mold is a mold of a heat. Metal and gating are planned weights, apart.
type Mold struct {
	ID         string    `json:"id"`
	Heat       string    `json:"heat"`
	Name       string    `json:"name"`
	Customer   string    `json:"customer,omitempty"`
	Commission string    `json:"commission,omitempty"`
	Wax        *Quantity `json:"wax,omitempty"`        // wax or pattern weight as typed
	VolumeMm3  int64     `json:"volume_mm3,omitempty"` // or the volume
	Metal      Mass      `json:"metal_mg"`             // casting, estimated
	Gating     Mass      `json:"gating_mg"`            // cups, sprues, runners, risers, estimated
	How        string    `json:"how,omitempty"`        // how the estimate was made
	State      MoldState `json:"state"`
	Poured     Mass      `json:"poured_mg,omitempty"` // metal poured into it, as noted
}

// Stage is how far a casting was worked when it was weighed.
type Stage string

// Stages of a casting.
const (
	AsCast   Stage = "as-cast"  // with gating on it
	CutOff   Stage = "cut-off"  // gating removed
	Finished Stage = "finished" // ground, welded, chased
)

// Casting is one casting; its mass is the balance of its account.
type Casting struct {
	ID         string         `json:"id"`
	Heat       string         `json:"heat"`
	Mold       string         `json:"mold,omitempty"`
	Name       string         `json:"name,omitempty"`
	Customer   string         `json:"customer,omitempty"`
	Commission string         `json:"commission,omitempty"`
	Alloy      string         `json:"alloy"`
	Stage      Stage          `json:"stage"`
	Weights    map[Stage]Mass `json:"weights"`
	Gone       string         `json:"gone,omitempty"` // shipped, remelted, …; empty while here
}

// Reading is a temperature read in a heat.
type Reading struct {
	ID     string `json:"id"`
	Heat   string `json:"heat"`
	Typed  string `json:"typed"`
	MilliC int64  `json:"milli_c"`
	What   string `json:"what,omitempty"` // melt, pour, mold, …
	Void   bool   `json:"void,omitempty"`
}

// Addition is a supply item given to a heat.
type Addition struct {
	ID      string   `json:"id"`
	Heat    string   `json:"heat"`
	Supply  string   `json:"supply"`
	Purpose string   `json:"purpose"`
	Amount  Quantity `json:"amount"` // mass, or pieces in Mass for an item counted in pieces
	Void    bool     `json:"void,omitempty"`
}

// Stocktake is a walk past the shelves: what was counted and what the book said.
type Stocktake struct {
	ID    string    `json:"id"`
	Place string    `json:"place,omitempty"`
	Lines []Counted `json:"lines"`
	Void  bool      `json:"void,omitempty"`
}

// Counted is one counted lot.
type Counted struct {
	Lot   string   `json:"lot"`
	Found Quantity `json:"found"`
	Book  Mass     `json:"book_mg"`
}

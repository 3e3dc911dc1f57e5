package cost

import "time"

// Kind is what a place for metal is to its cost.
type Kind byte

// Kinds of places.
const (
	Outside   Kind = iota // where bought metal comes from
	Found                 // counts, heats not known: metal that turns up or is missing
	Lot                   // on a shelf; has a pool
	Skimmings             // a lot of skimmings; has a pool
	Melt                  // a heat: crucible and molds
	Heel                  // left in a crucible; has a pool
	Casting
	Lost     // a heat's loss of any kind
	Gone     // left the shop
	Supply   // flux and the like on the shelf; has a pool
	Used     // supplies used up, for no heat
	Additive // metal that an addition brought, its cost being the addition's
)

// Place is a place for metal.
type Place struct {
	Kind  Kind
	ID    string // a lot, a heat (of Melt and Lost), a casting, how it is gone
	Pool  string // of Lot, Skimmings, Heel and Supply: what it is alike with
	Owner string // of Lot, Skimmings and Melt: the customer whose own metal it is
}

// Event is one movement of metal or money. Events with the same time are taken in
// their order.
type Event struct {
	Seq  int64 // the entry it is of
	At   time.Time
	From Place
	To   Place
	Mass int64

	Charge bool   // of Lot to Melt: goes in to be melted; else it goes back where it came from
	Priced bool   // of Outside: Cost is known
	Cost   int64  // of Outside, what was paid; without mass, conversion of To.ID
	What   string // of conversion: fuel, wear of the crucible

	Settle bool  // To.ID is settled: nothing more is expected of it
	Normal int64 // with Settle, the loss that is normal for it, or ByPolicy
	Plan   *Plan // what is known of heat To.ID before anything of it happened
}

// ByPolicy leaves the normal loss of a heat to the policy it is reckoned under.
const ByPolicy = -1

// Plan is what a heat's molds are planned to hold, and what it is reckoned under.
type Plan struct {
	Casting, Gating int64
	Under           *Policy // nil: the policy of the day its first metal went in
}

// Policy is how a shop reckons cost, from a date on.
type Policy struct {
	From   time.Time
	Method Method

	// Recovered is what returns and pigs are worth, by pool; a pool that is not
	// there takes the cost of the metal charged.
	Recovered map[string]Rate
	// Skimmings is what the metal in skimmings would fetch, by pool; nothing unless
	// it is there.
	Skimmings map[string]Rate
	// Normal is the loss that is normal for a pool's metal, in millionths of the charge.
	Normal map[string]int64
	// Month is where months begin; UTC when nil.
	Zone *time.Location
}

// Rate is a cost of a mass, such as 850 minor units of 1 kg.
type Rate struct{ Cost, Mass int64 }

// Of is the cost of a mass.
func (r Rate) Of(mass int64) int64 { return Part(r.Cost, mass, r.Mass) }

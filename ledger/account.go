package ledger

import "strings"

// Account is a named place for metal: a kind and what it belongs to, written
// "kind/ref", such as "lot/L1042-7" or "oxide/41".
type Account string

// AccountKind is the part of an account's name before the slash.
type AccountKind string

// Accounts of metal. Those named by a heat hold what became of that heat, so a
// heat's balance is the balances of its accounts.
const (
	Supplier    AccountKind = "supplier"    // bought from; its balance is minus what came
	Customer    AccountKind = "customer"    // brought by a customer as the customer's own
	Before      AccountKind = "before"      // was here before the book began
	OfLot       AccountKind = "lot"         // on a shelf, in a bin
	InHeat      AccountKind = "heat"        // in the crucible
	Heel        AccountKind = "heel"        // left in a crucible for its next heat
	InMolds     AccountKind = "molds"       // poured, not yet weighed back; may go below zero
	OfCasting   AccountKind = "casting"     // a casting, cut off and weighed
	Oxide       AccountKind = "oxide"       // metal that became oxide
	Vapour      AccountKind = "vapour"      // metal that boiled or burned off
	Spill       AccountKind = "spill"       // splashed and not picked up
	Kerf        AccountKind = "kerf"        // sawn or ground away, not to be melted here
	Unaccounted AccountKind = "unaccounted" // what no weighing explains
	Origin      AccountKind = "origin"      // weighed in, heat not known yet
	Count       AccountKind = "count"       // count differences and over-draws of a lot
	Left        AccountKind = "left"        // left the shop: sold, shipped, scrapped, taken home
	Additive    AccountKind = "additive"    // metal brought in by additions and welding rod
)

// Accounts of supplies (flux, degasser, deoxidiser, crucibles): amounts of one
// item in its own unit, milligrams or pieces. They sum to zero per item.
const (
	Supplied AccountKind = "supplied" // where the item came from
	InSupply AccountKind = "supply"   // on the shelf
	Spent    AccountKind = "spent"    // used up
)

// OpeningStock is where metal comes from that was here when the book was begun.
const OpeningStock Account = "before/book"

// UnknownOrigin is where metal comes from while nobody knows its heat.
const UnknownOrigin Account = "origin/unknown"

// accountRules is the one table of what each kind of account may do.
var accountRules = map[AccountKind]struct {
	supplies bool // counts a supply item, not metal
	floor    bool // never below zero in the order of recording
	ofHeat   bool // the ref is a heat
}{
	Supplier: {}, Customer: {}, Before: {}, OfLot: {floor: true}, InHeat: {ofHeat: true}, Heel: {},
	InMolds: {ofHeat: true}, OfCasting: {floor: true}, Oxide: {ofHeat: true}, Vapour: {ofHeat: true},
	Spill: {ofHeat: true}, Kerf: {ofHeat: true}, Unaccounted: {ofHeat: true}, Origin: {}, Count: {},
	Left: {}, Additive: {},
	Supplied: {supplies: true}, InSupply: {supplies: true, floor: true}, Spent: {supplies: true},
}

// Acct makes an account name.
func Acct(kind AccountKind, ref string) Account { return Account(string(kind) + "/" + ref) }

// Kind returns the part before the slash.
func (a Account) Kind() AccountKind {
	k, _, _ := strings.Cut(string(a), "/")
	return AccountKind(k)
}

// Ref returns what the account belongs to: a lot, a heat, a supplier.
func (a Account) Ref() string {
	_, r, _ := strings.Cut(string(a), "/")
	return r
}

// Valid reports whether the kind is known and the ref is a possible id.
func (a Account) Valid() bool {
	_, ok := accountRules[a.Kind()]
	return ok && validID(a.Ref())
}

// CountsSupplies reports whether the account counts a supply item, not metal.
func (a Account) CountsSupplies() bool { return accountRules[a.Kind()].supplies }

// HasFloor reports whether the account may not go below zero.
func (a Account) HasFloor() bool { return accountRules[a.Kind()].floor }

// Heat returns the heat an account belongs to, or "".
func (a Account) Heat() string {
	if accountRules[a.Kind()].ofHeat {
		return a.Ref()
	}
	return ""
}

// IsLoss reports whether metal in the account is gone.
func (a Account) IsLoss() bool {
	switch a.Kind() {
	case Oxide, Vapour, Spill, Kerf, Unaccounted:
		return true
	}
	return false
}

// validID reports whether s can name a thing: 1 to 64 bytes of letters, digits
// and "-._", starting with a letter or a digit, so that it is safe in a URL, a
// file name and a label.
func validID[T ~string | ~[]byte](s T) bool {
	if len(s) == 0 || len(s) > 64 {
		return false
	}
	for i := 0; i < len(s); i++ {
		c := s[i]
		alnum := c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || c >= '0' && c <= '9'
		if !alnum && (i == 0 || c != '-' && c != '.' && c != '_') {
			return false
		}
	}
	return true
}

package ledger

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"reflect"
	"slices"
	"strings"
	"time"
)

// Kind says what an entry records.
type Kind string

// Hash is a SHA-256 sum.
type Hash [sha256.Size]byte

func (h Hash) String() string { return hex.EncodeToString(h[:]) }

// ParseHash reads what String writes, also in capitals.
func ParseHash(s string) (h Hash, err error) {
	b, err := hex.DecodeString(s)
	if err != nil || len(b) != len(h) {
		return Hash{}, invalid("BAD_HASH", "hash", s, "must be 64 hexadecimal digits")
	}
	copy(h[:], b)
	return h, nil
}

// RequestID names one wish to write, chosen by the client; a UUID by custom.
type RequestID [16]byte

func (r RequestID) String() string {
	b := make([]byte, 0, 36)
	for i, part := range [][]byte{r[0:4], r[4:6], r[6:8], r[8:10], r[10:16]} {
		if i > 0 {
			b = append(b, '-')
		}
		b = hex.AppendEncode(b, part)
	}
	return string(b)
}

// ParseRequestID reads the 36-character form of a UUID.
func ParseRequestID(s string) (RequestID, error) {
	var r RequestID
	bad := invalid("BAD_REQUEST_ID", "request_id", s, "must be a UUID such as 0191e0a4-7b1c-7cc2-9e0d-3d2f5a6b7c8d")
	if len(s) != 36 || s[8] != '-' || s[13] != '-' || s[18] != '-' || s[23] != '-' {
		return r, bad
	}
	b, err := hex.DecodeString(strings.ReplaceAll(s, "-", ""))
	if err != nil || len(b) != 16 {
		return r, bad
	}
	if copy(r[:], b); r == (RequestID{}) { // what an id that nobody set looks like, and would count as none
		return r, bad
	}
	return r, nil
}

// Basis says how an amount is known.
type Basis byte

// The ways an amount is known.
const (
	Weighed      Basis = 'w' // read off a scale
	Estimated    Basis = 'e' // reckoned, to be replaced when weighed
	ByDifference Basis = 'd' // what is left when the rest is known
)

// Posting moves an amount into (positive) or out of (negative) an account.
type Posting struct {
	Account Account
	Mass    Mass // milligrams; for a supply item counted in pieces, pieces
	Basis   Basis
}

// Quantity is an amount as it was typed, and what it came to.
type Quantity struct {
	Typed string `json:"typed,omitempty"` // "12 lb 6 oz"; empty when a program sent milligrams
	Mass  Mass   `json:"mg"`
}

// Weighing is one reading of a scale, kept as it was typed. Net is gross minus
// tare; with Before set (a bin read before and after adding to it) it is gross
// minus before. What is not metal in it is said by DirtPPM.
type Weighing struct {
	Subject Account  // the account that was weighed
	Scale   string   // id of the scale; empty when it is not known
	Gross   Quantity //
	Tare    Quantity //
	Before  Quantity //
	Net     Quantity //
	DirtPPM PPM      // share of the net that is taken to be grit, flux, investment
	Pieces  int64    // how many pieces were on the scale; 0 when not counted
}

// Flag marks an entry as unusual; the text says what is unusual about it.
type Flag struct {
	Code string // kebab-case, one of the Flag constants
	Text string
}

// Flags. Those that ask are recorded only with a reason (promise 4).
const (
	FlagOverdrawn  = "over-drawn"           // asks: more was taken than the book says was there
	FlagWrongAlloy = "other-alloy"          // asks: not the alloy of the heat or bin it went into
	FlagFutureDate = "future-date"          // asks: happened after it was recorded
	FlagOtherOwner = "other-owner"          // asks: a customer's own metal mixed with another's
	FlagHeld       = "held-lot"             // asks: a lot set apart was used
	FlagOverfull   = "over-full"            // asks: more than the crucible holds
	FlagUnweighed  = "not-weighed-back"     // asks: settled though much is not weighed back
	FlagAgain      = "cleaned-again"        // asks: a clean lot, or one that has nothing left, was cleaned
	FlagUnclean    = "not-cleaned"          // asks: metal waiting to be cleaned was charged
	FlagOutside    = "outside-limits"       // asks: metal was charged or put to other metal that holds clearly more of something than its alloy may
	FlagSettled    = "settled-heat"         // asks: metal was charged into a heat that was settled already
	FlagNotKnown   = "not-in-the-book"      // asks: it names a heat or a commission that the book does not know
	FlagTooEarly   = "before-it-began"      // asks: it is dated before what it is about, or long before the book
	FlagHeavier    = "heavier-than-before"  // asks: a casting weighs clearly more than when it was weighed last
	FlagPrice      = "price-out-of-line"    // asks: metal costs far more or less than the same supplier asked for it last
	FlagMeasured   = "measured-outside"     // tells: an analysis says that metal holds clearly more of something than its alloy may
	FlagLate       = "late"                 // tells: the heat was settled already
	FlagMoreThanIn = "more-than-was-poured" // tells: in molds of a heat went below zero
	FlagCorrected  = "shortfall-counted"    // tells: a correction found metal already used
)

var flagsThatAsk = map[string]bool{
	FlagOverdrawn: true, FlagWrongAlloy: true, FlagFutureDate: true,
	FlagOtherOwner: true, FlagHeld: true, FlagUnclean: true, FlagAgain: true, FlagOverfull: true, FlagUnweighed: true,
	FlagOutside: true, FlagSettled: true, FlagNotKnown: true,
	FlagTooEarly: true, FlagHeavier: true, FlagPrice: true,
}

// Cost is an amount of money that travels with an entry's metal, in the currency
// of the book (entries made before foreign prices were asked for a rate may say
// another).
type Cost struct {
	Account  Account
	Currency string // ISO 4217
	Minor    int64  // minor units: cents
}

// RecordKind is a kind of thing the book keeps a current record of.
type RecordKind string

// Record is the whole content of a thing as an entry left it. Body is the JSON
// of the record's type and is hashed as it stands. Parent groups records for
// listing (molds of a heat). The newest record of a kind and id is current.
type Record struct {
	Kind   RecordKind
	ID     string
	Parent string
	Body   []byte
	Seq    int64 // the entry that wrote it; set by the store on reading
}

// Entry is one line of the book.
type Entry struct {
	Shop      string
	Seq       int64
	Kind      Kind
	Request   RequestID
	Digest    [16]byte // of the request's content, to tell a retry from a reuse
	Happened  time.Time
	Recorded  time.Time
	Who       string
	Device    string
	Reason    string
	Flags     []Flag
	Reverses  int64 // seq of the entry this one reverses, or 0
	Postings  []Posting
	Weighings []Weighing
	Records   []Record
	Costs     []Cost

	Hash Hash // of this entry; not part of its own bytes

	// Left is what the accounts of the postings hold after it. It is there on
	// an entry just written or only checked, for the answer to the one who asked.
	Left map[Account]Mass

	// What the bodies of the records are written from, on an entry just written or
	// only checked: it answers without being read back. Nobody may change what is in
	// it, and nil is of a record that was taken as it stood.
	content []any
}

// Subjects returns the things an entry is about, each once, in order: its
// accounts (those of a heat as that heat), its records and their parents. They
// are the keys under which histories are found.
func (e *Entry) Subjects() []string {
	all := e.subjects(nil)
	seen := make([]string, 0, len(all))
	for _, x := range all {
		name := x.kind
		if x.ref != "" {
			name += "/" + x.ref
		}
		if !slices.Contains(seen, name) {
			seen = append(seen, name)
		}
	}
	return seen
}

// subject is kind/ref, or a whole name in kind.
type subject struct{ kind, ref string }

// subjects appends the entry's subjects to s, some more than once.
func (e *Entry) subjects(s []subject) []subject {
	for _, p := range e.Postings {
		if h := p.Account.Heat(); h != "" {
			s = append(s, subject{"heat", h})
		} else {
			s = append(s, subject{string(p.Account), ""})
		}
	}
	for _, r := range e.Records {
		s = append(s, subject{string(r.Kind), r.ID})
		if r.Parent != "" {
			s = append(s, subject{r.Parent, ""})
		}
	}
	return s
}

// First gives the content of the entry's first record of a kind: what a use case
// made, or changed if it made nothing of the kind. It may be shared: nobody may change
// what v points into.
func (e *Entry) First(kind RecordKind, v any) (found bool, err error) {
	return e.find(func(r *Record) bool { return r.Kind == kind }, v)
}

// Find gives the content of the entry's record of a kind and id, as First does.
func (e *Entry) Find(kind RecordKind, id string, v any) (found bool, err error) {
	return e.find(func(r *Record) bool { return r.Kind == kind && r.ID == id }, v)
}

func (e *Entry) find(is func(*Record) bool, v any) (found bool, err error) {
	for i := range e.Records {
		if !is(&e.Records[i]) {
			continue
		}
		if i < len(e.content) && e.content[i] != nil {
			from, to := reflect.ValueOf(e.content[i]), reflect.ValueOf(v).Elem()
			if from.Type() == to.Type() {
				to.Set(from)
				return true, nil
			}
		}
		return true, e.Records[i].Into(v)
	}
	return false, nil
}

// write writes the body of a record that is drafted.
func (e *Entry) write(i int) (err error) {
	r := &e.Records[i]
	if r.Body == nil {
		if r.Body, err = json.Marshal(e.content[i]); err != nil {
			return fmt.Errorf("record %s/%s: %w", r.Kind, r.ID, err)
		}
	}
	return nil
}

// valueOf is v, or a copy of what it points to.
func valueOf(v any) any {
	if p := reflect.ValueOf(v); p.Kind() == reflect.Pointer {
		return p.Elem().Interface()
	}
	return v
}

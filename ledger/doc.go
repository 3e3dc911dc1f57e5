// Package ledger is the metal book of a casting shop: what metal is here, where
// it came from, where it went, and what was lost on the way.
//
// It is double-entry bookkeeping in mass. Every movement is one [Entry] whose
// postings sum to zero over named accounts, so metal is never made and never
// lost, only moved to a place with a name: a supplier, a lot on a shelf, a heat
// in the crucible, molds in the sand, a casting, or a loss of a stated kind.
// The package holds the values, the rules and the use cases; it does no I/O of
// its own and knows SQL, gRPC and files only through the [Store] it is given.
// It uses the standard library and its own leaf package unit, nothing else.
//
// # Promises
//
// Each promise has a number, and a test of that number in promises_test.go or
// in the store suite (package storetest).
//
//  1. Mass is an exact integer of milligrams with checked arithmetic; what was
//     typed (number and unit) is kept beside it. Money is an exact integer of a
//     currency's minor unit. Dividing either never loses or makes a unit.
//  2. Every movement is one entry whose postings sum to zero over accounts.
//     Metal is neither made nor lost, only moved to a named place.
//  3. Entries are append-only, numbered without gaps per shop, and each carries
//     the SHA-256 of its predecessor's hash and its own canonical bytes. The
//     encoding is versioned and holds who recorded it, the device, the weighing
//     as typed and the cost amounts. Settings are entries too. [Verify] finds a
//     changed, missing, swapped or added entry and names the first bad one.
//  4. No lot goes below zero in the order of recording. A fact that already
//     happened is never refused for being inconvenient: it is recorded and
//     flagged, the unusual ones (see the Flag constants) only with a reason, and
//     what does not fit goes to a named account. Plans
//     and reused request ids are refused. A correction is a new entry that
//     reverses an old one and says why.
//  5. Every write carries a request id. The same id with the same content
//     returns the first result; with other content it is refused.
//  6. An acknowledged entry survives a crash of the process and of the machine;
//     an entry that was not acknowledged is wholly there or wholly absent.
//     (Kept by the durable stores; the memory store keeps only the second half.)
//  7. Balances are maintained with the entry, in the same transaction, and
//     always equal the sum of the postings.
//  8. Time has two dates: when it happened (typed, possibly late or from a wrong
//     clock) and when it was recorded (the server's, never going back). Reports
//     can be asked as of either; a past day made negative by a later entry is
//     shown as such.
//  9. Each shop's book is independent: its id leads every key, its chain is its
//     own, nothing global is counted or locked.
//
// # What it refuses
//
// It refuses input that cannot be a fact (a negative weighing, an unknown unit,
// a lot that does not exist), a request id used again for something else, and
// changes to a plan that no longer stands. It does not judge whether a charge
// is safe to melt: local codes, safety data sheets and licensed practice do.
package ledger

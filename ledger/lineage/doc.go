// Package lineage answers where metal came from and where it went: from any lot
// or casting back to the suppliers' lots, and from any lot forward to everything
// that holds some of its metal, with mass fractions that add up to one, through
// any number of remelts.
//
// # Model
//
// Lots, heats, molds, castings and losses are nodes. The book is a sequence of
// transfers of metal between nodes, and a node is a well-mixed vessel: a
// transfer out of it takes every source in the proportion in which the node
// holds it at that moment, and a transfer into it mixes with what is there. So
// a bin of gating that is topped up and drawn from by turns gives each heat the
// mixture it held at that time, not the mixture of everything it ever held.
//
// For a crucible of molten metal this is what happens. For a bin of separate
// pieces it is the expectation over which pieces were taken when nobody wrote
// that down; keep pieces that matter as lots of their own. Oxide and skimmings
// are taken to come from every source alike, although zinc or magnesium leaves
// sooner: fractions are of metal by origin, not of elements.
//
// Metal has an origin. It enters the book in two ways, and is then named after
// the node it entered by:
//
//   - a transfer From "" receives metal from outside into To;
//   - a node that gives more than it holds gives metal of its own for the rest.
//     A node that never received anything (a supplier's heat, an account of a
//     supplier) gives only such metal: it is a source. In any other node it is
//     metal of unknown origin, shown as what it is: more out than in.
//
// A node keeps count of metal of its own that it gave, and metal coming in makes
// that good first; what was used so is called settled. Hence a node's content is
// always the balance that the book has for it, and metal handed back to its
// supplier is settled there.
//
// # Corrections
//
// A transfer back (B to A, after A to B) is a real movement: A then holds some
// of what B held. An entry that was wrong is another thing. [Graph.Reverse]
// strikes it as though it had never been written, and [Graph.Insert] places an
// entry recorded late, or the one that replaces a struck one, right after an
// earlier entry. Both replay what follows, so that castings poured from a heat
// lead back to the lot that was in it and not to the one first written down.
// Answers "at" an entry are therefore about that point of the history as it is
// known now; to ask what was believed then, build a graph from the entries up
// to there.
//
// # Representation
//
// The transfers of an entry to a node make a version of that node: a mixture of what
// was in it before and of what came, each part with the version it was taken from.
// Versions are numbered in the order of the transfers and those that parts were taken
// from have lower numbers, so one pass downwards answers "back" and one pass upwards
// answers "forward"; a version costs 12 bytes and each part 8, and they never change.
// A node costs 24 bytes with a name of up to 15, longer names their length more. There is
// room for 67 million nodes and half a billion parts. Only corrections renumber
// versions, and they write to fresh memory.
//
// Going back touches only versions that hold ancestors, a page at a time, and
// keeps weights of pages still waiting: its memory is bounded by the lots that
// were live together, its time by the ancestry. Going forward looks at every
// version after the first that has to do with the node.
//
// # Concurrency
//
// All methods may be called at the same time. A question holds the lock only to
// look up its node and copy the slice headers, under a microsecond; it then
// works on versions that no one writes to again, so a long trace never holds up
// the writer and sees one state of the book from beginning to end. Reverse and
// Insert hold the lock while they replay.
//
// # Accuracy
//
// Contents are exact integers of milligrams. Fractions are float64 and add up to
// one within 1e-12, and shares below 1e-30, less than an atom of a charge, are
// dropped; milligrams in an answer are integers that add up exactly, by
// largest remainder.
//
// # What it refuses
//
// It refuses transfers that cannot be (no receiver, no mass, out of order), never
// a fact that is merely inconvenient, such as more out than in. It does no I/O.
package lineage

// Package alloy holds what a small foundry needs to know about its metals, and
// the arithmetic that follows from it: which limits an alloy must keep and since
// when, which alloys must not meet in a crucible and from how much on, what a
// wax weighs in metal, how much metal an oxide holds, and which cautions a
// charge calls for.
//
// What it answers beyond the tables: the composition of a lot with its doubt kept
// by origin (Composition, Melt), the chance that a casting is outside a limit set
// (ChanceOutside), what builds up or burns away over remelts and the share of
// returns that keeps it in (Remelt, GreatestShare), the heat to melt and superheat
// a charge (MeltHeat) and the fuel a furnace burns for it (LearnBurn). Each states
// its model and its sources where it is declared.
//
// It promises that every figure keeps its source and its flag: Yes when the
// figure was read in a published text, Memory when it was not (such a figure is
// a default that the shop may replace, never proof of anything), Derived when it
// follows by rule from a figure that was read, Shop when the shop itself entered
// it. Where two sources disagree both figures are kept, and Best says which one
// is used.
//
// It refuses to guess: an ambiguous name is an error that lists the candidates;
// a certificate of an ingot is not judged by the limits of castings; the unknown
// alloy mixes with nothing; and no answer of this package ever says that a
// charge is safe.
//
// Shares and contents are floats (weight per cent), since limits are printed in
// decimals and certificates are rounded; a mass that goes back into a book is an
// integer of milligrams. The package reads and writes nothing but its own
// embedded tables, and knows neither the book nor a store.
package alloy

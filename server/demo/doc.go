// Package demo makes the year of an invented art foundry, through the public
// API and nothing else, so that a new user sees a book with something in it.
//
// Everybody and every place in it is made up. The shop's true losses, dirt and
// weighing errors are drawn here from families that the rest of the program does
// not assume: losses are lognormal with now and then a far outlier and grow as a
// crucible ages, dirt is skewed, molds take more than their plans say. A few
// mistakes are placed by the seed (a weight with two digits swapped, a bin booked
// on the wrong heat, a spill that nobody booked); the book is told nothing of
// them. [Report] names them for those who want to see whether they are found.
//
// The same seed and end make the same year. Request ids follow from the seed, so
// that seeding twice records nothing twice.
package demo

// Package cost carries money with the metal: what a lot on the shelf cost, what a
// heat cost, and what of it each casting takes.
//
// The model is process costing as accountants know it. A heat is a process: the
// metal charged and the conversion (additions, fuel, wear of the crucible) go in;
// castings are its product, returns and pigs are recovered metal, skimmings are a
// by-product. Returns and pigs go back to stock at the cost of the metal charged or at
// a recovered value that the shop sets, skimmings at what they would fetch; both are
// taken off the cost of the heat. What is left is borne by the castings by mass, the
// loss that is normal for the metal with it. Loss beyond the normal is valued at the
// same rate as good castings and shown apart, never put on a casting; loss below it is
// a gain, shown apart too (IAS 2, paragraphs 14 and 16: by-products at net realisable
// value, abnormal waste an expense; numbers of paragraphs from memory).
//
// What stock costs when it is used follows the shop's method: each lot its own cost,
// first in first out, a moving average, or one average for each month. Each may be
// changed from a date on; last in first out is not offered, since IAS 2 does not
// permit it. Metal that belongs to a customer is in a pool of that customer's and costs
// nothing.
//
// The package folds a list of events in the order they happened and keeps no state
// between two folds. So a late weigh-in or a correction changes the answer by itself,
// and what it changed is the difference of two folds.
//
// It promises that no unit of money is made or lost: everything is whole minor units,
// every division hands out its remainder, and what came in equals what is here, in
// process, in castings, gone and expensed, at every moment. It refuses nothing that
// happened: metal without a price counts as free, and how much of it there is goes along
// with it.
package cost

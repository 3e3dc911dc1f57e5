// Package breaking is nothing but tests that break the real program: it is built,
// serves a book to clients under load, and is killed, stopped, starved of disk and
// given damaged files. What clients were told must then be in the book, once and
// whole, and what they are told must be true.
//
// A client here does what any should: it sends a call again, with the same request
// id, until it is answered. Beside the server's book the tests keep their own sums
// of what was answered, and hold the book against them.
//
// Every test prints the seed of its random choices; -seed repeats them, as far as
// a machine with several processors repeats anything.
package breaking

// Package unit turns what people type into exact integers, and shows those
// integers again: masses in milligrams, temperatures in thousandths of a degree
// Celsius, volumes in cubic millimetres, percentages in parts per million, money
// in the minor unit of its currency, and prices per unit of mass.
//
// # What it promises
//
// A text is read as an exact rational number, converted with the exact factor of
// its unit, and rounded once, half to even, to the integer it becomes. Nothing is
// guessed: a text with two plausible readings is refused with an [*Error] that
// says how to write either. Parsing never panics, and what is accepted formats and
// parses again to the same text.
//
// # What it reads
//
//   - A decimal point or a decimal comma: "12.4", "5,2", ".5".
//   - Fractions of whole numbers: "1/2", "1 1/2", "1-1/2", "1½".
//   - Any Unicode space, and none: "12.4lb". Units in any case: "12.4 LB".
//   - A bare number takes the caller's default unit.
//   - Two masses in falling units, pounds and ounces above all: "12 lb 6 oz".
//   - "12#" is twelve pounds (a habit of North American shops; common practice,
//     no source); "#12" is somebody's number twelve and is refused.
//
// # What it refuses
//
//   - A comma with one to three digits before it and exactly three after, as in
//     "1,200": it may group thousands or mark decimals. "0,125" and "1234,567"
//     cannot be grouped thousands and are read as decimals. A point always marks
//     decimals: "1.200 kg" is what a scale shows for one kilogram and a fifth.
//   - Grouped digits: "1.200,5", "1,200.5", "1 200", "1'200".
//   - Units that name two things: "gr" (gram or grain), "Mg" and "MG" (milligram
//     or megagram), "T" (tonne or ton).
//   - Signs where a quantity cannot be negative, exponents ("1e9"), digits outside
//     0 to 9, unfinished numbers ("5."), sums and ranges, and absurd amounts.
//
// # Sources
//
// Factors: International Yard and Pound Agreement, July 1959, and NIST Special
// Publication 811, Guide for the Use of the International System of Units,
// Appendix B (1 lb = 0.45359237 kg, 1 in = 25.4 mm, both exactly, and the
// multiples that follow). Currencies: ISO 4217, table A.1. This package uses the
// standard library only.
package unit

// Package paper turns answers of the API into documents that are printed and
// tables that other programs open: heat sheets, stocktake sheets, labels with a QR
// code, purchase orders, quotes and period reports as PDF, tables as CSV and XLSX.
//
// It is a client like the pages and the command line, and reads through the same
// services, so that a sheet says what a screen says. It knows no store and no rule
// of the trade.
//
// It promises sheets for A4 or Letter that can be read and written on beside a
// furnace: black on white, boxes large enough for a gloved hand, cautions with
// whatever can hurt. The same answers at the same stated moment give the same
// bytes. Text is text: a name of any length is cut with an ellipsis where its
// place ends, and a character that the font does not have (it has Latin, Greek and
// Cyrillic) shows as an open box. In tables numbers are numbers, dates are dates,
// and text that a spreadsheet would take for a formula stays text.
//
// It refuses a paper that it does not know, a label too small for its code, and
// a sheet of nothing.
package paper

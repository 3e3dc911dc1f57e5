// Package balance finds the wrong weighing.
//
// It answers two questions of a shop that weighs metal: how sure is one
// weighing (Scale, Weighing, Budget), and which weights are most likely true
// when all weighings of a heat, or of a year of heats and lots, are held against
// each other (Network, Reconcile). It is arithmetic only: data in, answer out,
// no files, no clock, no book.
//
// # One weighing
//
// Metal = (gross - tare) × (1 - dirt share). Each thing that makes the result
// unsure is one Contribution of a Budget: a value, a standard uncertainty, its
// degrees of freedom and the sensitivity of the result to it. They are combined
// by the law of propagation of uncertainty and the effective degrees of freedom
// by the Welch-Satterthwaite formula (JCGM 100:2008, the GUM, 5.1.2 and G.4.1).
// Contributions: the rounding of the reading (division, or the coarser step that
// was typed), the rounding of zero or tare, the scale's own error (from its last
// check when there is one, else the limit of its class: OIML R 76-1 table 6, NIST
// Handbook 44 section 2.20 table 6), repeatability, a saved tare, the dirt.
// The limits are compared at the edges of their bands in whole numbers.
//
// # Many weighings
//
// Streams of metal run between nodes (heats, lots, molds, castings) or to and
// from outside; every named node closes, in = out. More linear rows can be given.
// With y the measured values, V their covariance, A x = b the rows that remain
// once the unmeasured streams are eliminated:
//
//	x = y - V A' (A V A')⁻¹ (A y - b),  cov(x) = V - V A' (A V A')⁻¹ A V
//
// (weighted least squares; Kuehn and Davidson, Chem. Eng. Prog. 57 (1961) 44;
// elimination of the unmeasured: Crowe, Garcia Campos and Hrymak, AIChE J. 29
// (1983) 881, done here on sparse rows, which for a graph is the merging of the
// nodes at both ends of an unmeasured stream, Mah, Stanley and Downing 1976).
// A measured stream is Redundant when the other weighings say something about
// it; an unmeasured one is Observable when the balances fix it.
//
// Errors that weighings have in common (one saved tare, one scale's unknown
// offset) are given as Shared effects: y = x + own error + Σ coefficient × effect,
// each effect with mean 0 and standard deviation 1.
//
// # Tests
//
// Global: r'(A V A')⁻¹r against chi-square with as many degrees of freedom as
// there are independent rows. Each weighing: the most powerful test for an error
// in that weighing alone (Tamhane, Biometrika 69 (1982) 475), z = the
// adjustment, sign turned, over its standard deviation. Each is tested at 1-(1-α)^(1/m) (Šidák, JASA 62 (1967)
// 626), m the number of weighings whose statistics differ, so that a book without
// any wrong weighing raises an alarm with probability at most α, however the
// tests depend on each other. Weighings whose statistics are the same by structure
// are Twins: no arithmetic can tell them apart, and the result names them.
//
// Search: serial compensation. The weighing with the largest |z| above the
// critical value is given an unknown error, everything is estimated again, and so
// on until none is above it, MaxSuspects is reached, or nothing testable is left
// (generalised likelihood ratio: Narasimhan and Mah, AIChE J. 33 (1987) 1514;
// giving a weighing an unknown error is the same as not having weighed). At the end a suspect
// that, with all others set aside, is no longer above the critical value is
// dropped. Rivals of a suspect explain the data nearly as well.
//
// # Assumptions, and what it refuses
//
// Errors are normal with the stated standard uncertainty; effective degrees of
// freedom are reported, not used in the tests. Uncertainties within one network
// should lie within a factor 10⁵ of each other: a result that does not close its
// balances to one part in 10⁶ of the masses is refused (ErrConditioning), never
// returned. An unmeasured loss without any belief about its size leaves a heat
// without redundancy; give the belief as a measured stream with its uncertainty
// and the heat can be tested. Exact values that contradict each other are refused
// and the rows named (ContradictionError). Negative results are not clipped.
//
// Work grows with the number of weighings and with how much heats and lots of all
// times are mixed; only long chains of unmeasured streams one after another cost the
// square of their length. Ten thousand weighings take a fraction of a second.
//
// All values of one network are in one unit of mass, which one does not matter;
// scales and weighings are in milligrams. Papers above are cited from memory; the
// checks against printed figures, with their sources, are in the tests.
package balance

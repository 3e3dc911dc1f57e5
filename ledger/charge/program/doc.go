// Package program solves linear and mixed-integer programmes of the size a
// casting shop meets (tens of rows, up to some hundred columns) and proves its
// answers.
//
//	minimise    c·x
//	subject to  lo ≤ A x ≤ hi,  l ≤ x ≤ u,  some x whole
//
// # What it promises
//
// Every number of a Problem is an exact rational. A plan that is called
// possible satisfies every row and bound exactly; a programme that is called
// infeasible or solved to optimality has been proven so. The search runs in
// float64, because it must be fast, but nothing is believed because a float
// said so:
//
//   - a node of the search tree is closed only on a bound into which the
//     rounding errors have been reckoned, or on a Farkas combination of rows
//     whose contradiction is larger than its rounding errors;
//   - where a float leaves a doubt, and always for an answer that is handed
//     out, the basis is solved again in whole numbers without fractions, and if
//     it is not what the float claimed, an exact simplex goes on from there.
//
// Equal input gives equal output: no clock, no random number and no map order
// takes part. Only a deadline in the context makes the point where the search
// stops depend on the machine; a limit on nodes does not.
//
// # What it refuses
//
// It is dense and meant for small programmes: a programme of thousands of rows
// is answered correctly but slowly. Columns that are not whole may be free; a
// whole column without a finite range may keep the search from ending, which
// the node limit catches.
//
// # Methods and sources
//
// Bounded dual simplex on a dictionary with bound flipping (V. Chvátal, Linear
// Programming, 1983, chapters 2, 8 and 10; I. Maros, Computational Techniques
// of the Simplex Method, 2003, section 10.2.3). Branch and bound with
// pseudo-costs (A. H. Land and A. G. Doig, Econometrica 28, 1960; T. Achterberg,
// T. Koch and A. Martin, Operations Research Letters 33, 2005). Bounds that hold
// in spite of rounding (A. Neumaier and O. Shcherbina, Mathematical Programming
// 99, 2004). Elimination in whole numbers (E. H. Bareiss, Mathematics of
// Computation 22, 1968). Least-index rule against cycling (R. G. Bland,
// Mathematics of Operations Research 2, 1977). Elastic rows and the deletion
// filter for conflicting sets (J. W. Chinneck, Feasibility and Infeasibility in
// Optimization, 2008, chapters 6 and 7). The literature is cited from memory.
package program

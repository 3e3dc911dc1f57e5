// Package charge plans what goes into the crucible: which whole pieces and how
// much loose metal, from a list of lots, for the molds that stand in the sand. It
// is pure: data in, a plan or the reason against it out.
//
// # The plan
//
// A Heat says what is wanted and what cannot be passed: the molds with their
// doubtful weights, the chance of running short that the melter accepts, windows
// of composition, the crucible's volume, what may be lifted, the share of returns,
// the pour-off, the pig molds that are dry. Lots say what there is: pieces that go
// in whole or not at all, loose metal by the handful, holds, contents, value. Make
// finds the cheapest charge, or the one that uses most returns, proves how far
// from the best it can be at most, and says in which order to feed and to pour.
// When there is no such charge it returns an *Infeasible: a smallest set of
// demands that contradict each other, and by how much the demands would have to
// give way.
//
// # Model
//
// With m_i the mass taken of lot i and ℓ_i the part of it that is lost:
//
//	net          = Σ m_i (1−ℓ_i) + heel           metal in the crucible before pouring
//	element e    = Σ m_i c_ie k_ie + heel's       k the part kept; like the metal, 1−ℓ_i, unless said
//	content e    = element e ÷ net + pickup       in weight %, pickup includes the deoxidiser's
//	for molds    = net − skull
//
// The molds take Σ planned·(1 + b + e), b the shop's bias and e a mold's own
// deviation, both learned from planned against poured (Filling); the loss of the
// whole charge is a distribution (Loss). The charge is sized so that the chance
// that the molds take more than there is stays at or under the chance set. The
// demand grows a little faster than the charge, because the doubt about the loss
// does; a chord above that curve makes the demand linear, and the chance of the
// finished plan is computed without the chord.
//
// Everything else is linear as it stands. Masses are whole milligrams, contents
// and parts are taken to 1e-9, and package program solves the mixed-integer
// programme with proof, so that no plan is called impossible, and none is handed
// out that is not possible, because of rounding.
//
// Two aims are ordered: the first is made as good as it can be, and among the
// charges as good as that the second decides.
//
// # Assumptions
//
// Everything melts and mixes fully; the heel is not charged and loses nothing.
// Contents are means: a Window's Margin is the place for their doubt. The chord
// asks for up to some grams more than the chance itself, so that a charge which
// has the chance within grams may be passed over. Bulk, feeding order, pig molds
// for the pour-off and for one failed mold, and pouring the hottest mold first are
// common practice without a source, and say so where they stand.
//
// # What it refuses
//
// Numbers that cannot be (a *FieldError naming field, value and what would be
// right). It knows no alloys and no families: which lots may go in is data
// (Heat.Families, holds). It gives no cautions: what a charge contains is in the
// Plan, and the cautions that follow from it are another package's. A plan never
// says that a charge is safe; local codes, safety data sheets and licensed
// practice come first.
package charge

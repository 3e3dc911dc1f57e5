// Package loss learns what a shop loses when it melts, forecasts the next heat, and says when something changed.
//
// It is pure: heats in, answers out. It knows no book and no store.
//
// # Model
//
// The loss of heat i by a set of causes, as a fraction y of the charged mass, is taken as
//
//	y_i = offset(family) + Σ_forms share·β + γ_s·(superheat − ref) + γ_h·(hold − ref)
//	      + u(family) + u(crucible) + u(furnace) [+ u(period)] + e_i
//	β, γ ~ N(starting belief),  u(factor) ~ N(0, τ²),  e_i ~ N(0, r_i σ² + v_i)
//
// v_i is the heat's own weighing variance. r_i is the square of the loss believed of such a charge relative to clean
// bronze: where more is lost, more differs. Periods, where drift is followed, are runs of heats whose level is a random
// walk. A superheat or hold that was not recorded counts as the mean of those that were. A crucible or furnace without
// a name has no effect of its own in the fit, and an unknown one (± τ) in a forecast.
//
// # Estimator
//
// Empirical Bayes, made full Bayes in the spreads (see Mixed.Integrate): given σ and the τ the model is normal and the
// mixed model equations (Henderson) give the exact answer, the largest factor being eliminated as a diagonal block; the
// spreads, with half-normal beliefs, are summed over on a lattice weighted by the restricted marginal likelihood. The
// same engine, Mixed, gives REML for flat beliefs, and the normal-normal model of a meta-analysis when it has no factor.
// Levels with few heats are pulled towards the rest of the shop; Model.Levels says by how much and Model.Pooled names
// those whose figure is mostly borrowed. (The only level of a factor cannot be told from the shop and so counts as pooled.)
//
// # Forecast
//
// Mean and variance come from the model. The law is Student's t (degrees of freedom from how well the variances are
// known) bent to the skew of a log-normal, and is then recalibrated: standardised errors of past heats, each forecast
// only from the heats before it (the spreads alone have seen them all), become points of the distribution, weighted
// by recency, beside 19 points of the model's own law. So three heats give the model's interval and three hundred the
// shop's own, each tail for itself. Nothing is promised beyond the outermost points, and
// the promise is for heats like the past ones on the whole, not for each kind of heat by itself.
// HoldBack measures the coverage on a shop's own past.
//
// # Charts
//
// WatchLoss is self-starting: each heat against the forecast from the heats before it, by family and charge but not by
// crucible or furnace. A tabular CUSUM of the standardised, winsorised errors says when and in which direction the loss
// changed; individuals and EWMA charts go with it. Compare says what else was not the same before and after, which is
// no proof of a cause. Losses with heavier tails than the normal law bring more false alarms than Watch.FalseAlarms says.
//
// # What it refuses
//
// Masses, shares, uncertainties and beliefs that cannot be (a *FieldError that names heat, field, value and what would
// be right). Provisional heats, heats whose figures are doubted and heats that lack a cause are left out and named, never guessed.
//
// # Starting beliefs
//
// None of the default figures was read in a table in print: they are recalled or assumed, and each says so
// (Belief.Verified). They are there to be edited and lose their weight as heats come in.
package loss

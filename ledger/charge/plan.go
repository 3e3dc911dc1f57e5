package charge

import (
	"context"
	"fmt"
	"math/big"
	"slices"

	"example.org/remelt/ledger/charge/program"
)

// Limits bound the search. The zero value asks for a tenth of a per cent of the
// aim and stops after 200 000 nodes, divided by the square of the number of heats
// planned together: some seconds at the most.
type Limits struct {
	Gap   float64 // good enough, as a part of the aim's value; 0: 0.001
	Nodes int     // search nodes; 0: as above
}

func (l Limits) options(heats int) program.Options {
	if l.Gap == 0 {
		l.Gap = 0.001
	}
	if l.Nodes == 0 {
		l.Nodes = max(1000, 200_000/(heats*heats))
	}
	return program.Options{Gap: l.Gap, Nodes: l.Nodes}
}

// Make plans one heat. The error is a *FieldError, an *Infeasible or an *Undecided.
// Equal input gives an equal plan, unless ctx ends the search.
func Make(ctx context.Context, h Heat, lots []Lot, lim Limits) (*Plan, error) {
	plans, err := Together(ctx, []Heat{h}, lots, lim)
	if err != nil {
		return nil, err
	}
	return plans[0], nil
}

// Together plans several heats from one stock at once, so that no heat takes what
// another cannot do without. The first heat's Aim is that of all.
func Together(ctx context.Context, heats []Heat, lots []Lot, lim Limits) ([]*Plan, error) {
	var c checks
	c.need(len(heats) > 0, "heats", "empty", "at least one heat")
	c.need(lim.Gap >= 0 && lim.Gap < 1, "Limits.Gap", lim.Gap, "a part of the aim, 0 ≤ Gap < 1")
	c.need(lim.Nodes >= 0, "Limits.Nodes", lim.Nodes, "a number that is not negative")
	seen := map[string]bool{}
	for i := range lots {
		lots[i].check(&c, fmt.Sprintf("lots[%d]", i))
		c.need(!seen[lots[i].ID], fmt.Sprintf("lots[%d].ID", i), lots[i].ID, "an ID that no other lot has")
		seen[lots[i].ID] = true
	}
	refs, named := make([]*Heat, len(heats)), map[string]bool{}
	for i := range heats {
		refs[i] = &heats[i]
		at := fmt.Sprintf("heats[%d]", i)
		refs[i].check(&c, at, lots)
		c.need(!named[heats[i].ID], at+".ID", heats[i].ID, "an ID that no other heat has")
		named[heats[i].ID] = true
	}
	if c.err != nil {
		return nil, c.err
	}
	m := newModel(refs, lots)
	x, proof, err := m.solve(ctx, lim.options(len(heats)))
	if err != nil {
		return nil, err
	}
	plans := make([]*Plan, len(heats))
	for k := range heats {
		plans[k] = m.plan(k, x, proof)
	}
	return plans, nil
}

// Proof says how good a plan is known to be: Value is what the aim came to, and
// nothing better than Bound exists. Then is the same for the second aim.
type Proof struct {
	Aim          Aim
	Value, Bound float64 // money (small units) for LeastCost, kg for MostReturns
	Gap          float64 // between them, as a part of Value
	Optimal      bool    // the gap asked for was reached
	Nodes        int
	Then         *Proof
}

// solve finds the columns' values, sizing again when the chord was not enough.
func (m *model) solve(ctx context.Context, o program.Options) ([]*big.Rat, *Proof, error) {
	for {
		x, proof, err := m.aim(ctx, o)
		if err != nil {
			return nil, nil, err
		}
		enough := true
		for _, p := range m.parts {
			if p.metal < 0 {
				continue
			}
			charge, metal := m.metal(p, x)
			if chance, _ := p.size.short(metal, charge); chance <= p.h.ChanceShort {
				continue
			}
			// Only a loss far from normal bends the curve above its chord: raise it.
			slope, _ := p.slope.Float64()
			chord := p.atLeast + slope*(charge-p.from)
			p.atLeast += max(1, p.size.require(p.h.ChanceShort, charge)-chord)
			m.prog.Rows[p.metal].Lo = p.metalNeeded(0)
			enough = false
		}
		if enough {
			return x, proof, nil
		}
	}
}

// metal is the charge of p and what of it is there for the molds, in mg.
func (m *model) metal(p *part, x []*big.Rat) (charge, metal float64) {
	all, net := m.sums(p, x)
	a, _ := all.Float64()
	n, _ := net.Float64()
	return a, n + float64(p.rest)
}

func (m *model) sums(p *part, x []*big.Rat) (charge, net *big.Rat) {
	charge, net = new(big.Rat), new(big.Rat)
	for j := p.base; j < p.base+p.n; j++ {
		t := m.taken(j, x)
		charge.Add(charge, t)
		net.Add(net, new(big.Rat).Mul(t, p.net(m.cols[j].lot)))
	}
	return charge, net
}

// taken is the mass of column j, in mg.
func (m *model) taken(j int, x []*big.Rat) *big.Rat {
	return new(big.Rat).Mul(x[j], program.Int(m.cols[j].unitMass()))
}

// thenNodes limits the second aim, which only chooses among charges that are as
// good as the best one found.
const thenNodes = 300

func (m *model) aim(ctx context.Context, o program.Options) ([]*big.Rat, *Proof, error) {
	first := m.heats[0].Aim
	m.cost(first)
	res, err := program.Solve(ctx, &m.prog, o)
	if err != nil {
		return nil, nil, err
	}
	switch res.Status {
	case program.Infeasible:
		return nil, nil, m.explain(ctx, o)
	case program.Unknown:
		return nil, nil, &Undecided{res.Nodes}
	}
	proof := newProof(first, res)
	second := LeastCost
	if first == LeastCost {
		second = MostReturns
	}
	q := m.prog
	q.Rows = append([]program.Row{}, m.prog.Rows...)
	keep := program.Row{Hi: res.Objective}
	for j, c := range m.prog.Cols {
		if c.Cost != nil && c.Cost.Sign() != 0 {
			keep.Terms = append(keep.Terms, program.Term{Col: j, Coef: c.Cost})
		}
	}
	q.AddRow(keep)
	m.cost(second)
	q.Cols = m.prog.Cols
	then, err := program.Solve(ctx, &q, program.Options{Gap: o.Gap, Nodes: thenNodes, Start: res.X})
	if err != nil {
		return nil, nil, err
	}
	proof.Then = newProof(second, then)
	return then.X, proof, nil
}

// cost sets the columns' costs for an aim: money, or returns left out of the charge.
func (m *model) cost(a Aim) {
	for j := range m.cols {
		c := &m.cols[j]
		l := &m.lots[c.lot]
		var v *big.Rat
		switch {
		case a == LeastCost:
			v = new(big.Rat).Mul(l.cost(), program.Int(c.unitMass()))
		case l.Return:
			v = program.Int(-c.unitMass())
		}
		m.prog.Cols[j].Cost = v
	}
}

func newProof(a Aim, r *program.Result) *Proof {
	p := &Proof{Aim: a, Gap: r.Gap(), Optimal: r.Status == program.Optimal, Nodes: r.Nodes}
	p.Value, _ = r.Objective.Float64()
	p.Bound = p.Value
	if r.Bound != nil {
		p.Bound, _ = r.Bound.Float64()
	} else {
		p.Optimal = false
	}
	if a == MostReturns {
		p.Value, p.Bound = -p.Value/1e6, -p.Bound/1e6
		if p.Value == 0 {
			p.Value = 0 // not −0
		}
	}
	return p
}

// explain says why there is no charge.
func (m *model) explain(ctx context.Context, o program.Options) error {
	out := &Infeasible{}
	for _, p := range m.parts {
		out.Left = append(out.Left, p.left...)
	}
	rows := make([]int, len(m.rows))
	soft := make([]program.Soft, len(m.rows))
	byRow := map[int]*demandRow{}
	for i := range m.rows {
		d := &m.rows[i]
		rows[i], soft[i] = d.row, program.Soft{Row: d.row, Weight: d.weight}
		byRow[d.row] = d
	}
	few := o
	few.Nodes = min(o.Nodes, explainNodes)
	set, minimal, err := program.Conflict(ctx, &m.prog, rows, few)
	if err != nil {
		return err
	}
	if set == nil { // proven with more nodes than are spent here: all that is known
		set = rows
	}
	out.Minimal = minimal
	for _, r := range set {
		out.Conflict = append(out.Conflict, byRow[r].Demand)
	}
	// A way out that concerns the conflict alone is told first; another conflict
	// beside it makes all demands give way.
	few.Gap = 0.01
	rel, err := program.Elastic(ctx, &m.prog, only(soft, set), few)
	if err == nil && rel.Result.X == nil {
		rel, err = program.Elastic(ctx, &m.prog, soft, few)
	}
	if err != nil {
		return err
	}
	if rel.Result.X == nil {
		return out
	}
	net := map[string]float64{}
	for _, p := range m.parts {
		_, v := m.sums(p, rel.Result.X)
		f, _ := v.Float64()
		net[p.h.ID] = max(1, f+float64(p.h.Heel))
	}
	for _, b := range rel.Breaches {
		d := byRow[b.Row]
		by, _ := new(big.Rat).Add(b.Short, b.Over).Float64()
		out.Least = append(out.Least, GiveWay{d.Demand, d.told(by, net[d.Heat])})
	}
	return out
}

func only(soft []program.Soft, rows []int) (out []program.Soft) {
	for _, s := range soft {
		if slices.Contains(rows, s.Row) {
			out = append(out, s)
		}
	}
	return out
}

// explainNodes limits each of the searches that look for the reason.
const explainNodes = 5000

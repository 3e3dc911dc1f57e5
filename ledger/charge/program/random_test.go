package program

import "math/rand/v2"

// randomProblem draws a programme that is likely to have ties, redundant rows,
// contradictions and knapsack-like pieces. Small when it is to be enumerated.
func randomProblem(r *rand.Rand, small bool) *Problem {
	p := &Problem{}
	n, m := 2+r.IntN(5), 1+r.IntN(4)
	if !small {
		n, m = 5+r.IntN(25), 2+r.IntN(12)
	}
	ties := r.IntN(2) == 0
	knap := r.IntN(3) == 0
	for j := range n {
		c := Col{Lo: Int(0), Hi: Int(int64(r.IntN(4))), Whole: true}
		switch r.IntN(5) {
		case 0:
			c.Lo, c.Hi = Int(int64(-r.IntN(3))), Int(int64(r.IntN(3)))
		case 1:
			c.Hi = Decimal(float64(r.IntN(30)) / 10)
		}
		if !small && r.IntN(3) == 0 {
			c.Whole = false
		}
		cost := int64(r.IntN(20))
		if ties {
			cost = int64(r.IntN(3))
		}
		if r.IntN(6) == 0 {
			cost = -cost
		}
		c.Cost = Int(cost)
		if r.IntN(3) == 0 {
			c.Cost = Decimal(float64(cost*100+int64(r.IntN(100))) / 100)
		}
		p.AddCol(c)
		_ = j
	}
	for i := range m {
		row := Row{}
		mid := 0.0
		for j := range n {
			if r.IntN(4) == 0 {
				continue
			}
			v := float64(r.IntN(16))
			if knap && i == 0 {
				v = float64(200 + r.IntN(400))
			} else if r.IntN(3) == 0 {
				v = float64(r.IntN(2000)-600) / 100
			}
			row.Terms = append(row.Terms, Term{j, Decimal(v)})
			hi, _ := p.Cols[j].Hi.Float64()
			mid += v * hi / 2
		}
		if len(row.Terms) > 0 && r.IntN(12) == 0 {
			row.Terms = append(row.Terms, row.Terms[0])
		}
		at := float64(int(mid*(0.3+1.2*r.Float64())*10)) / 10
		switch r.IntN(5) {
		case 0, 1:
			row.Lo = Decimal(at)
		case 2:
			row.Hi = Decimal(at)
		case 3:
			row.Lo, row.Hi = Decimal(at), Decimal(at+float64(r.IntN(40)))
		case 4:
			if r.IntN(3) == 0 {
				row.Lo = Int(int64(at))
				row.Hi = row.Lo
			} else {
				row.Lo = Decimal(at)
			}
		}
		p.AddRow(row)
		if i > 0 && r.IntN(8) == 0 {
			p.AddRow(p.Rows[i-1])
		}
	}
	return p
}

package balance

// expansion substitutes unmeasured streams by the rows that give them.
type expansion struct {
	m     *model
	order []int32 // per stream: position of its row among the pivots, -1 when none
	value []float64
	mark  []bool
	// buffers between calls
	touched, queue []int32
	g              vec
}

func newExpansion(m *model) *expansion {
	n := len(m.status)
	x := &expansion{m: m, order: make([]int32, n), value: make([]float64, n), mark: make([]bool, n)}
	for i := range x.order {
		x.order[i] = -1
	}
	for k, p := range m.pivots {
		x.order[p.col] = int32(k)
	}
	return x
}

// of rewrites a linear form over any streams as base + g over measured streams.
// Exact streams enter base; fixed is false when something unobservable is left over.
// g is in no order and only good until the next call.
func (x *expansion) of(form vec) (base float64, g vec, fixed bool) {
	m := x.m
	x.touched, x.queue, x.g = x.touched[:0], x.queue[:0], x.g[:0] // queue: pivots still to substitute
	put := func(at int32, v float64) {
		if m.net.Streams[at].Given == Exact {
			base += v * m.net.Streams[at].Value
			return
		}
		if !x.mark[at] {
			x.mark[at] = true
			x.touched = append(x.touched, at)
			if k := x.order[at]; k >= 0 {
				push(&x.queue, k)
			}
		}
		x.value[at] = sum(x.value[at], v)
	}
	for _, e := range form {
		put(e.at, e.v)
	}
	// A pivot's row holds only streams of later pivots, so each is met once.
	for len(x.queue) > 0 {
		p := m.pivots[pop(&x.queue)]
		v := x.value[p.col]
		x.value[p.col] = 0
		if v == 0 {
			continue
		}
		own := m.sys.row[p.row].find(p.col)
		base += v * m.sys.rhs[p.row] / own
		for _, e := range m.sys.row[p.row] {
			if e.at != p.col {
				put(e.at, -v*e.v/own)
			}
		}
	}
	fixed = true
	for _, at := range x.touched {
		switch {
		case x.value[at] == 0:
		case m.net.Streams[at].Given == Measured:
			x.g = append(x.g, entry{at, x.value[at]})
		default:
			fixed = false
		}
		x.value[at], x.mark[at] = 0, false
	}
	return base, x.g, fixed
}

// complete fills in the unmeasured streams that belong to given measured ones, which
// have their values in x; unobservable ones as if the free ones among them were 0.
// Without right hand sides it gives what a change of the measured streams changes.
func (m *model) complete(x []float64, rhs bool) {
	for i, s := range m.status {
		if s == Unobservable || s == Observable || s == Known && !rhs {
			x[i] = 0
		}
	}
	for k := len(m.pivots) - 1; k >= 0; k-- {
		p := m.pivots[k]
		var v, own float64
		if rhs {
			v = m.sys.rhs[p.row]
		}
		for _, e := range m.sys.row[p.row] {
			if e.at == p.col {
				own = e.v
			} else {
				v -= e.v * x[e.at]
			}
		}
		x[p.col] = v / own
	}
}

// push and pop keep a small binary heap of whole numbers, smallest first.
func push(h *[]int32, v int32) {
	q := append(*h, v)
	for i := len(q) - 1; i > 0 && q[(i-1)/2] > q[i]; i = (i - 1) / 2 {
		q[i], q[(i-1)/2] = q[(i-1)/2], q[i]
	}
	*h = q
}

func pop(h *[]int32) int32 {
	q := *h
	top := q[0]
	q[0] = q[len(q)-1]
	q = q[:len(q)-1]
	for i := 0; ; {
		c := 2*i + 1
		if c+1 < len(q) && q[c+1] < q[c] {
			c++
		}
		if c >= len(q) || q[i] <= q[c] {
			break
		}
		q[i], q[c] = q[c], q[i]
		i = c
	}
	*h = q
	return top
}

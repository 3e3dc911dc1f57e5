package program

import (
	"bytes"
	"fmt"
	"io"
	"math/big"
	"strconv"
)

// WriteMPS writes p in free MPS, the common text form of such programmes, so
// that another solver can check an answer. Rows are r0, r1, …, columns x0, x1, …,
// every bound is spelled out, those of whole columns as whole numbers, and
// numbers are rounded to float64.
func WriteMPS(to io.Writer, p *Problem) error {
	var b bytes.Buffer
	num := func(r *big.Rat) string {
		f, _ := r.Float64()
		return strconv.FormatFloat(f, 'g', 17, 64)
	}
	fmt.Fprintln(&b, "NAME p\nROWS\n N obj")
	kind := make([]string, len(p.Rows))
	for i, r := range p.Rows {
		switch {
		case r.Lo != nil && r.Hi != nil && r.Lo.Cmp(r.Hi) == 0:
			kind[i] = "E"
		case r.Lo != nil:
			kind[i] = "G"
		case r.Hi != nil:
			kind[i] = "L"
		default:
			kind[i] = "N"
		}
		fmt.Fprintf(&b, " %s r%d\n", kind[i], i)
	}
	type entry struct {
		row string
		v   *big.Rat
	}
	cols := make([][]entry, len(p.Cols))
	for j, c := range p.Cols {
		if c.Cost != nil {
			cols[j] = append(cols[j], entry{"obj", c.Cost})
		}
	}
	for i, r := range p.Rows {
		sum := map[int]*big.Rat{}
		for _, t := range r.Terms {
			if sum[t.Col] == nil {
				sum[t.Col] = new(big.Rat)
			}
			sum[t.Col].Add(sum[t.Col], t.Coef)
		}
		for j := range p.Cols {
			if sum[j] != nil && sum[j].Sign() != 0 {
				cols[j] = append(cols[j], entry{fmt.Sprintf("r%d", i), sum[j]})
			}
		}
	}
	fmt.Fprintln(&b, "COLUMNS")
	whole := false
	mark := 0
	for j, c := range p.Cols {
		if c.Whole != whole {
			mark++
			fmt.Fprintf(&b, " m%d 'MARKER' '%s'\n", mark, map[bool]string{true: "INTORG", false: "INTEND"}[c.Whole])
			whole = c.Whole
		}
		if len(cols[j]) == 0 {
			cols[j] = []entry{{"obj", new(big.Rat)}}
		}
		for _, e := range cols[j] {
			fmt.Fprintf(&b, " x%d %s %s\n", j, e.row, num(e.v))
		}
	}
	if whole {
		fmt.Fprintln(&b, " mend 'MARKER' 'INTEND'")
	}
	fmt.Fprintln(&b, "RHS")
	for i, r := range p.Rows {
		switch kind[i] {
		case "E", "G":
			fmt.Fprintf(&b, " rhs r%d %s\n", i, num(r.Lo))
		case "L":
			fmt.Fprintf(&b, " rhs r%d %s\n", i, num(r.Hi))
		}
	}
	fmt.Fprintln(&b, "RANGES")
	for i, r := range p.Rows {
		if kind[i] == "G" && r.Hi != nil {
			fmt.Fprintf(&b, " rng r%d %s\n", i, num(new(big.Rat).Sub(r.Hi, r.Lo)))
		}
	}
	fmt.Fprintln(&b, "BOUNDS")
	for j, c := range p.Cols {
		if c.Whole {
			c.Lo, c.Hi = ceilRat(c.Lo), floorRat(c.Hi)
		}
		if c.Lo == nil {
			fmt.Fprintf(&b, " MI bnd x%d\n", j)
		} else {
			fmt.Fprintf(&b, " LO bnd x%d %s\n", j, num(c.Lo))
		}
		if c.Hi == nil {
			fmt.Fprintf(&b, " PL bnd x%d\n", j)
		} else {
			fmt.Fprintf(&b, " UP bnd x%d %s\n", j, num(c.Hi))
		}
	}
	fmt.Fprintln(&b, "ENDATA")
	_, err := to.Write(b.Bytes())
	return err
}

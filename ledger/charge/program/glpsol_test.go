package program

import (
	"bytes"
	"fmt"
	"math"
	"math/big"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"
)

// glpsol is GLPK's stand-alone solver (Debian package glpk-utils), the outside
// check of the whole package. A test that needs it skips with a message where it
// is missing, and fails where REMELT_CI=1 says that it must be there.
func needGlpsol(t testing.TB) {
	t.Helper()
	if _, err := exec.LookPath("glpsol"); err == nil {
		return
	}
	if os.Getenv("REMELT_CI") == "1" {
		t.Fatal("glpsol is missing (Debian package glpk-utils) and REMELT_CI=1 demands it")
	}
	t.Skip("glpsol is missing (Debian package glpk-utils): the cross-check did not run")
}

// glpAnswer is what glpsol says; status is one of its letters: o optimal,
// f feasible, n infeasible, u undefined.
type glpAnswer struct {
	status string
	obj    float64
	x      []float64
	wall   time.Duration
	cpu    time.Duration // user and system
	output string
}

// runGlpsol solves p with glpsol. limit is its own time limit in seconds.
func runGlpsol(t testing.TB, p *Problem, limit int, flags ...string) glpAnswer {
	t.Helper()
	dir := t.TempDir()
	in, out := filepath.Join(dir, "p.mps"), filepath.Join(dir, "p.sol")
	if err := os.WriteFile(in, writeMPS(p), 0o644); err != nil {
		t.Fatal(err)
	}
	args := append([]string{"--freemps", in, "--tmlim", strconv.Itoa(limit), "-w", out}, flags...)
	t0 := time.Now()
	cmd := exec.Command("glpsol", args...)
	log, err := cmd.CombinedOutput()
	a := glpAnswer{wall: time.Since(t0), output: string(log)}
	if s := cmd.ProcessState; s != nil {
		a.cpu = s.UserTime() + s.SystemTime()
	}
	if err != nil {
		t.Fatalf("glpsol: %v\n%s", err, log)
	}
	sol, err := os.ReadFile(out)
	if err != nil {
		t.Fatalf("glpsol wrote no solution: %v\n%s", err, log)
	}
	for _, line := range strings.Split(string(sol), "\n") {
		f := strings.Fields(line)
		if len(f) > 2 && f[0] == "j" {
			at := 2 // j column value, or j column status value dual
			if len(f) > 3 {
				at = 3
			}
			v, err := strconv.ParseFloat(f[at], 64)
			if err != nil {
				t.Fatal(err)
			}
			a.x = append(a.x, v)
		}
		if len(f) > 0 && f[0] == "s" {
			a.status = f[4]
			a.obj, err = strconv.ParseFloat(f[len(f)-1], 64)
			if err != nil {
				t.Fatal(err)
			}
		}
	}
	return a
}

// writeMPS writes p in free MPS, every bound spelled out.
func writeMPS(p *Problem) []byte {
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
		if c.Whole { // glpsol takes no broken bounds here
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
	return b.Bytes()
}

// holds reports whether glpsol's own answer keeps the rows of p, as floats may.
func (a glpAnswer) holds(p *Problem) bool {
	for _, r := range p.Rows {
		v, size := 0.0, 1.0
		for _, k := range r.Terms {
			c, _ := k.Coef.Float64()
			v += c * a.x[k.Col]
			size += math.Abs(c * a.x[k.Col])
		}
		if r.Lo != nil {
			if lo, _ := r.Lo.Float64(); v < lo-1e-5*size {
				return false
			}
		}
		if r.Hi != nil {
			if hi, _ := r.Hi.Float64(); v > hi+1e-5*size {
				return false
			}
		}
	}
	return true
}

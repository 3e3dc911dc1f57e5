// Package glpsol runs GLPK's stand-alone solver (Debian package glpk-utils) as the
// outside check of programmes in tests and benchmarks. Nothing else imports it.
package glpsol

import (
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"
)

// Need skips a test with a message where glpsol is missing, and fails it where REMELT_CI=1 says that it must be there.
func Need(t testing.TB) {
	t.Helper()
	if _, err := exec.LookPath("glpsol"); err == nil {
		return
	}
	if os.Getenv("REMELT_CI") == "1" {
		t.Fatal("glpsol is missing (Debian package glpk-utils) and REMELT_CI=1 demands it")
	}
	t.Skip("glpsol is missing (Debian package glpk-utils): the cross-check did not run")
}

// Answer is what glpsol says; Status is one of its letters: o optimal, f feasible,
// n infeasible, u undefined (no relaxation to begin with, or none found in time).
type Answer struct {
	Status string
	Value  float64
	X      []float64
	Wall   time.Duration
	CPU    time.Duration // user and system
	Log    string
	Late   bool // the time limit ended it
}

// Run solves a programme in free MPS. limit is glpsol's own time limit in seconds.
func Run(t testing.TB, mps []byte, limit int, flags ...string) Answer {
	t.Helper()
	dir := t.TempDir()
	in, out := filepath.Join(dir, "p.mps"), filepath.Join(dir, "p.sol")
	if err := os.WriteFile(in, mps, 0o600); err != nil {
		t.Fatal(err)
	}
	args := append([]string{"--freemps", in, "--tmlim", strconv.Itoa(limit), "-w", out}, flags...)
	t0 := time.Now()
	cmd := exec.Command("glpsol", args...) //nolint:gosec // a fixed program on files of the test's own
	log, err := cmd.CombinedOutput()
	a := Answer{Wall: time.Since(t0), Log: string(log), Late: strings.Contains(string(log), "TIME LIMIT EXCEEDED")}
	if s := cmd.ProcessState; s != nil {
		a.CPU = s.UserTime() + s.SystemTime()
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
			a.X = append(a.X, v)
		}
		if len(f) > 0 && f[0] == "s" {
			a.Status = f[4]
			a.Value, err = strconv.ParseFloat(f[len(f)-1], 64)
			if err != nil {
				t.Fatal(err)
			}
		}
	}
	return a
}

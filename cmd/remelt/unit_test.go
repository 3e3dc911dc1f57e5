package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// The unit of systemd is one, leaves the program few rights, and starts it with
// flags that there are. (Level: systemd-analyze calls up to 2.0 "OK"; whether the
// program lives with these rights is tried where systemd runs, not here.)
func TestSystemdUnit(t *testing.T) {
	if _, err := exec.LookPath("systemd-analyze"); err != nil {
		if os.Getenv("REMELT_CI") != "" {
			t.Fatal(err)
		}
		t.Skip(err)
	}
	raw, err := os.ReadFile("remelt.service")
	if err != nil {
		t.Fatal(err)
	}
	line := ""
	for l := range strings.Lines(string(raw)) {
		if rest, ok := strings.CutPrefix(strings.TrimSpace(l), "ExecStart=/usr/bin/remelt serve "); ok {
			line = rest
		}
	}
	if err := newApp().serveCommand().ParseFlags(strings.Fields(line)); err != nil || line == "" {
		t.Errorf("it starts remelt serve with %q: %v", line, err)
	}
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	unit := filepath.Join(t.TempDir(), "remelt.service")
	if err := os.WriteFile(unit, []byte(strings.ReplaceAll(string(raw), "/usr/bin/remelt", self)), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, args := range [][]string{{"verify", unit}, {"security", "--offline=true", "--threshold=20", "--no-pager", unit}} {
		if out, err := exec.Command("systemd-analyze", args...).CombinedOutput(); err != nil || args[0] == "verify" && len(out) > 0 {
			t.Errorf("systemd-analyze %s: %v\n%s", args[0], err, out)
		}
	}
}

// TestPercent: a share is shown with one decimal, also of a heat that gave back more than
// was poured.
func TestPercent(t *testing.T) {
	for text, want := range map[string]string{"45.6833": "45.7 %", "-2.25": "-2.3 %", "177.8656": "177.9 %", "-100.25": "-100.2 %", "": " %"} {
		if got := percent(text); got != want {
			t.Errorf("%q is shown as %q, want %q", text, got, want)
		}
	}
}

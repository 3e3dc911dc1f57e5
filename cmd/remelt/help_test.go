package main

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/spf13/cobra"
)

// TestHelp holds the help of every command against a golden file for each command
// of the first level: what a person can ask for does not change by accident.
// go test -run TestHelp -update writes them anew.
func TestHelp(t *testing.T) {
	dir := filepath.Join("..", "..", "testdata", "script", "help")
	root := newApp().root()
	root.InitDefaultHelpCmd()
	root.InitDefaultCompletionCmd()
	seen := map[string]bool{}
	check := func(name, got string) {
		file := filepath.Join(dir, name+".golden")
		seen[filepath.Base(file)] = true
		if *update {
			if err := os.MkdirAll(dir, 0o755); err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(file, []byte(got), 0o644); err != nil {
				t.Fatal(err)
			}
			return
		}
		want, err := os.ReadFile(file)
		if err != nil {
			t.Errorf("%v; run with -update", err)
			return
		}
		if d := cmp.Diff(string(want), got); d != "" {
			t.Errorf("help of %s (-golden +now):\n%s", name, d)
		}
	}
	check("remelt", helpOf(t, root))
	for _, c := range root.Commands() {
		if c.Name() == "completion" || c.Name() == "help" {
			continue // the library's own words
		}
		var b strings.Builder
		walk(c, func(c *cobra.Command) { b.WriteString("== " + c.CommandPath() + "\n" + helpOf(t, c) + "\n") })
		check(c.Name(), b.String())
	}
	files, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range files {
		if !seen[f.Name()] {
			t.Errorf("%s is of a command that is gone", f.Name())
		}
	}
}

// TestEveryCommandSaysWhatItDoes: each has a line, its flags have a text, and what
// writes to the book takes the flags of a write.
func TestEveryCommandSaysWhatItDoes(t *testing.T) {
	n := 0
	walk(newApp().root(), func(c *cobra.Command) {
		n++
		if c.Short == "" {
			t.Errorf("%s says nothing of itself", c.CommandPath())
		}
		if (c.Flags().Lookup("dry-run") == nil) != (c.Flags().Lookup("reason") == nil) {
			t.Errorf("%s has only some of the flags of a write", c.CommandPath())
		}
	})
	if n < 70 {
		t.Errorf("only %d commands were looked at", n)
	}
}

func helpOf(t *testing.T, c *cobra.Command) string {
	t.Helper()
	var b bytes.Buffer
	c.SetOut(&b)
	if err := c.Help(); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func walk(c *cobra.Command, do func(*cobra.Command)) {
	do(c)
	for _, sub := range c.Commands() {
		walk(sub, do)
	}
}

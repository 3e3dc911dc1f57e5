package ledger_test

import (
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// Every published example that is kept is checked by some test: one that nothing reads
// proves nothing. A family of them may be read by what their names begin with.
func TestEveryExampleIsChecked(t *testing.T) {
	var tests strings.Builder
	if err := filepath.WalkDir("..", func(path string, d fs.DirEntry, err error) error {
		switch {
		case err != nil:
			return err
		case d.IsDir() && path != ".." && strings.HasPrefix(d.Name(), "."), d.Name() == "node_modules":
			return filepath.SkipDir
		case strings.HasSuffix(path, "_test.go") && path != filepath.Join("..", "ledger", "examples_test.go"):
			text, err := os.ReadFile(path)
			tests.Write(text)
			return err
		}
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	files, err := filepath.Glob("../testdata/examples/*.json")
	if err != nil || len(files) == 0 {
		t.Fatal(files, err)
	}
	for _, f := range files {
		name := strings.TrimSuffix(filepath.Base(f), ".json")
		family := name
		if strings.HasPrefix(name, "e-strd-") {
			family = "e-strd-"
		}
		if name == "h06-melt-loss-definition" { // formulas without a printed number
			continue
		}
		if !strings.Contains(tests.String(), family) {
			t.Errorf("no test reads %s", name)
		}
	}
}

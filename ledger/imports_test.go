package ledger_test

import (
	"encoding/json"
	"errors"
	"io"
	"os/exec"
	"path"
	"slices"
	"strings"
	"testing"
)

const module = "example.org/remelt/"

// mayImport is the whole import table of the project: for each package (or
// folder, with a final slash) the packages of the project it may import. The
// sciences are those listed in sciences. Nothing points up.
var mayImport = map[string][]string{
	"ledger":            {"ledger/readout", "ledger/unit"},
	"ledger/readout":    {},
	"ledger/unit":       {},
	"ledger/checkpoint": {"ledger"},
	"ledger/memory":     {"ledger"},
	"ledger/sqlite":     {"ledger"},
	"ledger/postgres":   {"ledger"},
	"ledger/postgres/":  {},
	"ledger/sqlite/":    {}, // breaks the disk, in tests
	"ledger/storetest":  {"ledger", "ledger/memory"},
	"ledger/ledgertest": {"ledger", "ledger/memory", "ledger/shop", "ledger/storetest"},
	"ledger/shop":       {"ledger", "ledger/unit", "SCIENCES"},
	"api":               {},
	"api/remelt/v1":     {},
	"client":            {"api/remelt/v1", "ledger", "ledger/unit"},
	"server":            {"api", "api/remelt/v1", "ledger", "ledger/unit", "ledger/checkpoint", "ledger/shop", "SCIENCES", "server/web", "server/signin", "server/authority"},
	"server/signin":     {"ledger"},
	"server/authority":  {"ledger"},
	"server/web":        {"api/remelt/v1", "ledger", "ledger/unit", "server/paper", "server/signin", "server/web/"}, // pages are a client of the service behind them
	"server/web/":       {},
	"server/paper":      {"api/remelt/v1", "ledger/unit"}, // documents too
	"server/":           {"api/remelt/v1", "client", "ledger", "ledger/unit"},
	"cmd/remelt/":       {}, // breaks the program, in tests
	"cmd/":              {"server", "server/", "client", "api/remelt/v1", "ledger", "ledger/unit", "ledger/checkpoint", "ledger/readout", "ledger/sqlite", "ledger/postgres"},
}

var sciences = []string{"ledger/alloy", "ledger/balance", "ledger/charge", "ledger/cost", "ledger/lineage", "ledger/loss", "ledger/quote", "ledger/reorder"}

// onlyStdlib are the packages that import nothing from outside the project.
var onlyStdlib = []string{"ledger", "ledger/readout", "ledger/unit"}

// notBelow names packages that may be imported only at or under some folders.
var notBelow = map[string][]string{
	"google.golang.org/grpc":     {"api", "client", "server", "cmd"},
	"net/http":                   {"api", "client", "server", "cmd"},
	"golang.org/x/mod":           {"ledger/checkpoint"},
	"database/sql":               {"ledger/sqlite", "ledger/postgres"},
	"modernc.org/sqlite":         {"ledger/sqlite"},
	"github.com/jackc/pgx":       {"ledger/postgres"},
	"github.com/prometheus":      {"server", "cmd"},
	"go.opentelemetry.io":        {"cmd"},
	"go.bug.st/serial":           {"cmd"},
	"google.golang.org/protobuf": {"api", "client", "server", "cmd"},
}

type listed struct {
	ImportPath string
	Imports    []string
	Standard   bool
}

// TestImportsPointOneWay checks every package of the project against the table.
func TestImportsPointOneWay(t *testing.T) {
	out, err := exec.Command("go", "list", "-json=ImportPath,Imports", module+"...").Output()
	if err != nil {
		t.Fatalf("go list: %v", err)
	}
	dec := json.NewDecoder(strings.NewReader(string(out)))
	seen := 0
	for {
		var p listed
		if err := dec.Decode(&p); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			t.Fatal(err)
		}
		seen++
		pkg := strings.TrimPrefix(p.ImportPath, module)
		allowed, known := allowedFor(pkg)
		if !known {
			t.Errorf("%s is not in the import table", pkg)
			continue
		}
		for _, imp := range p.Imports {
			if own, ok := strings.CutPrefix(imp, module); ok {
				if !matches(allowed, own) {
					t.Errorf("%s imports %s; it may import %v", pkg, own, allowed)
				}
				continue
			}
			if slices.Contains(onlyStdlib, pkg) && strings.Contains(strings.Split(imp, "/")[0], ".") {
				t.Errorf("%s imports %s; it may use the standard library only", pkg, imp)
			}
			for lib, under := range notBelow {
				if (imp == lib || strings.HasPrefix(imp, lib+"/")) && !slices.ContainsFunc(under, func(u string) bool { return pkg == u || strings.HasPrefix(pkg, u+"/") }) {
					t.Errorf("%s imports %s, which belongs under %v", pkg, imp, under)
				}
			}
		}
	}
	if seen < 8 {
		t.Errorf("only %d packages were looked at", seen)
	}
}

func allowedFor(pkg string) ([]string, bool) {
	if a, ok := mayImport[pkg]; ok {
		return a, true
	}
	for _, s := range sciences {
		if pkg == s || strings.HasPrefix(pkg, s+"/") {
			return []string{s, s + "/"}, true // a science may have parts of its own
		}
	}
	for dir := path.Dir(pkg); dir != "."; dir = path.Dir(dir) {
		if a, ok := mayImport[dir+"/"]; ok {
			return a, true
		}
	}
	return nil, false
}

func matches(allowed []string, imp string) bool {
	for _, a := range allowed {
		switch {
		case a == imp, strings.HasSuffix(a, "/") && strings.HasPrefix(imp, a):
			return true
		case a == "SCIENCES" && slices.ContainsFunc(sciences, func(s string) bool { return imp == s || strings.HasPrefix(imp, s+"/") }):
			return true
		}
	}
	return false
}

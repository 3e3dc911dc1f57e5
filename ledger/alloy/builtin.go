package alloy

import (
	"embed"
	"encoding/csv"
	"fmt"
	"strconv"
	"strings"
	"sync"
)

// The tables are data, not code, so that a figure, its source and its flag can
// be read and corrected in one line.
//
//	alloys.csv    designation, UNS number, base metal, family, names
//	sets.csv      one row a limit set; rows it does not restate come from `base`
//	limits.csv    one row an element of a set
//	figures.csv   one row a physical figure, of an alloy or of another material
//	crucibles.csv capacities as makers and hobby pages print them
//
//go:embed data/*.csv
var data embed.FS

// Material is a substance of the figures table that is no casting alloy: a pure
// metal, a wax, an investment.
type Material struct {
	Name    string
	Figures []Figure
}

// Figure returns the figure of property p to use, by Best.
func (m Material) Figure(p Property) (Figure, bool) { return Best(m.Figures, p) }

type builtin struct {
	alloys    []Alloy
	materials []Material
	crucibles []Crucible
}

var load = sync.OnceValue(func() builtin {
	b, err := read()
	if err != nil {
		panic(err) // the tables are part of the program: a test reads them all
	}
	return b
})

func read() (builtin, error) {
	var b builtin
	at := map[string]int{}
	err := eachRow("alloys.csv", func(r row) error {
		at[r["id"]] = len(b.alloys)
		b.alloys = append(b.alloys, Alloy{ID: r["id"], UNS: r["uns"], Kind: Kind(r["kind"]),
			Family: Family(r["family"]), Names: list(r["names"])})
		return nil
	})
	if err != nil {
		return b, err
	}
	if err := readFigures(&b, at); err != nil {
		return b, err
	}
	for i := range b.alloys {
		b.alloys[i].pourInGeneral()
	}
	if err := readLimits(&b, at); err != nil {
		return b, err
	}
	err = eachRow("crucibles.csv", func(r row) error {
		c := Crucible{Shape: r["shape"], Size: r["size"], Source: r["source"], Verified: Flag(r["verified"]), Note: r["note"]}
		for _, f := range []struct {
			column string
			into   *float64
		}{{"bronze_lb", &c.BronzeLb}, {"bronze_kg", &c.BronzeKg}, {"aluminium_lb", &c.AluminiumLb},
			{"aluminium_kg", &c.AluminiumKg}, {"volume_ml", &c.VolumeML}} {
			if err := r.number(f.column, f.into); err != nil {
				return err
			}
		}
		b.crucibles = append(b.crucibles, c)
		return nil
	})
	return b, err
}

// pourInGeneral gives an alloy without a pouring range of its own the usual one of
// its base, from memory: bronze at about 2000 °F (1900 to 2200 is used), aluminium
// at about 1400 °F. Common practice, no source: a default to be edited.
func (a *Alloy) pourInGeneral() {
	if _, ok := a.Figure(PourLight); ok {
		return
	}
	f := Figure{Property: PourLight, Unit: "C", Source: "common practice, no source", Verified: Memory, Note: "usual for the base metal, not printed for this alloy"}
	switch a.Kind {
	case Copper:
		f.Value, f.High = 1038, 1204
	case Aluminium:
		f.Value, f.High = 732, 788
		f.Note += "; about 1400 F"
	default:
		return
	}
	a.Figures = append(a.Figures, f)
}

func readFigures(b *builtin, at map[string]int) error {
	other := map[string]int{}
	return eachRow("figures.csv", func(r row) error {
		f := Figure{Property: Property(r["property"]), Unit: r["unit"], Source: r["source"],
			Verified: Flag(r["verified"]), Suspect: r["suspect"] == "yes", Note: r["note"]}
		if err := r.number("value", &f.Value); err != nil {
			return err
		}
		if err := r.number("high", &f.High); err != nil {
			return err
		}
		of := r["of"]
		if i, ok := at[of]; ok {
			b.alloys[i].Figures = append(b.alloys[i].Figures, f)
			return nil
		}
		i, ok := other[of]
		if !ok {
			i = len(b.materials)
			other[of] = i
			b.materials = append(b.materials, Material{Name: of})
		}
		b.materials[i].Figures = append(b.materials[i].Figures, f)
		return nil
	})
}

func readLimits(b *builtin, at map[string]int) error {
	rows := map[string][]Limit{}
	err := eachRow("limits.csv", func(r row) error {
		l := Limit{Element: r["element"], Remainder: r["remainder"] == "yes", Plus: list(r["plus"]), MayPlus: list(r["may_plus"]),
			HasMin: r["min"] != "", HasMax: r["max"] != "", Source: r["source"], Verified: Flag(r["verified"]), Note: r["note"]}
		if err := r.number("min", &l.Min); err != nil {
			return err
		}
		if err := r.number("max", &l.Max); err != nil {
			return err
		}
		key := r["alloy"] + "/" + r["edition"]
		rows[key] = append(rows[key], l)
		return nil
	})
	if err != nil {
		return err
	}
	return eachRow("sets.csv", func(r row) error {
		i, ok := at[r["alloy"]]
		if !ok {
			return fmt.Errorf("limit set of an alloy that is not in the table: %q", r["alloy"])
		}
		s := LimitSet{Alloy: r["alloy"], Kind: Product(r["kind"]), Edition: r["edition"], Current: r["current"] == "yes", Note: r["note"]}
		if y := r["year"]; y != "" {
			var err error
			if s.Year, err = strconv.Atoi(y); err != nil {
				return err
			}
		}
		own := rows[s.Alloy+"/"+s.Edition]
		s.Limits = carry(own, rows[s.Alloy+"/"+r["base"]], r["base"])
		b.alloys[i].Limits = append(b.alloys[i].Limits, s)
		return nil
	})
}

// carry fills a set with the rows of another edition that it does not restate,
// each marked with where it was read. The order of the fuller set is kept.
func carry(own, base []Limit, edition string) []Limit {
	if edition == "" {
		return own
	}
	out := make([]Limit, 0, len(base)+len(own))
	used := map[string]bool{}
	for _, b := range base {
		b.Carried = edition
		for _, o := range own {
			if o.Element == b.Element {
				b = o
				used[o.Element] = true
			}
		}
		out = append(out, b)
	}
	for _, o := range own {
		if !used[o.Element] {
			out = append(out, o)
		}
	}
	return out
}

type row map[string]string

// number reads an optional decimal column; an empty one leaves zero.
func (r row) number(column string, into *float64) error {
	if r[column] == "" {
		return nil
	}
	v, err := strconv.ParseFloat(r[column], 64)
	if err != nil {
		return fmt.Errorf("column %s: %w", column, err)
	}
	*into = v
	return nil
}

func eachRow(name string, do func(row) error) error {
	f, err := data.Open("data/" + name)
	if err != nil {
		return err
	}
	defer f.Close()
	records, err := csv.NewReader(f).ReadAll()
	if err != nil {
		return fmt.Errorf("%s: %w", name, err)
	}
	for n, rec := range records[1:] {
		r := row{}
		for i, column := range records[0] {
			r[column] = rec[i]
		}
		if err := do(r); err != nil {
			return fmt.Errorf("%s row %d: %w", name, n+2, err)
		}
	}
	return nil
}

func list(s string) []string {
	if s == "" {
		return nil
	}
	return strings.Split(s, ";")
}

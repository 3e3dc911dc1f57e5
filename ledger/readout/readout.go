// Package readout reads what a scale says over a line: which part of a line is the
// weight, when a weight counts, and when there is another piece on the scale.
package readout

import (
	"errors"
	"fmt"
	"regexp"
	"strconv"
	"strings"
)

// Usual is the pattern that the lines of most scales have.
const Usual = "*{weight} {unit}*"

// maxText bounds a pattern and a line: scales say less.
const maxText = 200

// Pattern is what a line of a weight looks like.
type Pattern struct{ form *regexp.Regexp }

// Reading is a weight as a scale says it, without signs that say nothing.
type Reading struct {
	Weight string // "-12.34"
	Unit   string // in small letters; "" when the line has none
}

func (r Reading) String() string { return strings.TrimSpace(r.Weight + " " + r.Unit) }

var (
	parts  = regexp.MustCompile(`\{weight\}|\{unit\}|\*|\s+`)
	forms  = map[string]string{"{weight}": `(?P<weight>[-+]?[ \t]*[0-9]+(?:[.,][0-9]+)?)`, "{unit}": `[ \t]*(?P<unit>[A-Za-z]+)`, "*": `.*?`}
	noSign = strings.NewReplacer(" ", "", "\t", "", "+", "", ",", ".")
)

// ParsePattern reads a pattern: "{weight}" and "{unit}" stand where they stand in a
// line, "*" for anything, and blanks for any number of blanks. A line that looks
// otherwise is passed over, so a pattern with the scale's sign of a settled weight
// takes only those. The pages read the same patterns in static/serial.js; both are
// held against testdata/scales/lines.json.
func ParsePattern(text string) (*Pattern, error) {
	text = strings.TrimSpace(text)
	switch {
	case strings.Count(text, "{weight}") != 1:
		return nil, errors.New("must say once where the weight stands, as {weight}, such as " + Usual)
	case strings.Count(text, "{unit}") > 1:
		return nil, errors.New("must say {unit} once at most, such as " + Usual)
	case len(text) > maxText:
		return nil, fmt.Errorf("must have at most %d bytes", maxText)
	}
	var form strings.Builder
	at := 0
	for _, p := range parts.FindAllStringIndex(text, -1) {
		form.WriteString(regexp.QuoteMeta(text[at:p[0]]))
		if f, known := forms[text[p[0]:p[1]]]; known {
			form.WriteString(f)
		} else {
			form.WriteString(`[ \t]*`)
		}
		at = p[1]
	}
	form.WriteString(regexp.QuoteMeta(text[at:]))
	re, err := regexp.Compile("^" + form.String() + "$")
	if err != nil {
		return nil, errors.New("must be text with {weight} in it, such as " + Usual)
	}
	return &Pattern{re}, nil
}

// Read takes the weight out of a line; false of a line that looks otherwise.
func (p *Pattern) Read(line string) (Reading, bool) {
	hit := p.form.FindStringSubmatch(strings.TrimSpace(line))
	if hit == nil {
		return Reading{}, false
	}
	r := Reading{Weight: noSign.Replace(hit[p.form.SubexpIndex("weight")])}
	if i := p.form.SubexpIndex("unit"); i > 0 {
		r.Unit = strings.ToLower(hit[i])
	}
	return r, true
}

// Port is how a serial port is set.
type Port struct {
	Baud, Bits int
	Parity     byte // 'N', 'E' or 'O'
	Stop       int
}

var portForm = regexp.MustCompile(`^([0-9]{1,7})(?:[ ]+([78])([NEO])([12]))?$`)

// ParsePort reads "9600 7E1": signs a second, data bits, parity and stop bits.
// Nothing is 9600 8N1.
func ParsePort(text string) (Port, error) {
	p := Port{9600, 8, 'N', 1}
	if text = strings.ToUpper(strings.TrimSpace(text)); text == "" {
		return p, nil
	}
	hit := portForm.FindStringSubmatch(text)
	if hit == nil || hit[1] == "0" {
		return p, errors.New("must be such as 9600 8N1: signs a second, then data bits (7 or 8), parity (N, E or O) and stop bits (1 or 2)")
	}
	p.Baud, _ = strconv.Atoi(hit[1])
	if hit[2] != "" {
		p.Bits, p.Parity, p.Stop = int(hit[2][0]-'0'), hit[3][0], int(hit[4][0]-'0')
	}
	return p, nil
}

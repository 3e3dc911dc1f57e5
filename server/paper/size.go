package paper

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"

	pb "example.org/remelt/api/remelt/v1"
)

// Size is a paper size.
type Size struct {
	Name string
	W, H float64 // mm
}

// The sizes of ISO 216 and of ANSI/ASME Y14.1.
var (
	A4     = Size{"A4", 210, 297}
	Letter = Size{"Letter", 215.9, 279.4}
)

// ParseSize reads A4 or Letter.
func ParseSize(typed string) (Size, error) {
	for _, s := range []Size{A4, Letter} {
		if strings.EqualFold(strings.TrimSpace(typed), s.Name) {
			return s, nil
		}
	}
	return Size{}, refuse("UNKNOWN_PAPER", "paper", typed, "must be A4 or Letter")
}

// usual is the size where none is said: Letter where pounds are used, A4 elsewhere.
func usual(s *pb.Shop) Size {
	if strings.HasPrefix(s.GetMassUnit(), "lb") {
		return Letter
	}
	return A4
}

// Stock is what labels are printed on: a sheet of them, or a roll of single ones.
type Stock struct {
	page         Size
	across, down int
	left, top    float64 // mm to the first label
	w, h         float64 // mm of a label
	stepX, stepY float64 // mm from one label to the next
	single       bool
}

// Sheets of labels as stationers sell them (common practice, no source): on A4
// eight of 99.1 by 67.7 mm, on Letter ten of 4 by 2 inches.
var (
	sheetA4     = Stock{page: A4, across: 2, down: 4, left: 4.65, top: 13.1, w: 99.1, h: 67.7, stepX: 101.6, stepY: 67.7}
	sheetLetter = Stock{page: Letter, across: 2, down: 5, left: 3.97, top: 12.7, w: 101.6, h: 50.8, stepX: 106.36, stepY: 50.8}
)

// Limits of a single label in mm: on a smaller one neither the code nor the lot
// could be read, a larger one is a poster.
const (
	labelMinW, labelMinH = 50, 25
	labelMax             = 300
)

var labelSize = regexp.MustCompile(`^([0-9]{1,3}(?:\.[0-9]{1,2})?)x([0-9]{1,3}(?:\.[0-9]{1,2})?) ?(mm|in)$`)

// ParseStock reads what labels are printed on: A4 or Letter, or the width and
// height of a single label such as 100x50mm or 4x2in.
func ParseStock(typed string) (Stock, error) {
	plain := strings.ToLower(strings.TrimSpace(typed))
	switch plain {
	case "a4":
		return sheetA4, nil
	case "letter":
		return sheetLetter, nil
	}
	want := fmt.Sprintf("must be A4, Letter, or the size of a single label such as 100x50mm or 4x2in, from %dx%d to %dx%d mm", labelMinW, labelMinH, labelMax, labelMax)
	m := labelSize.FindStringSubmatch(plain)
	if m == nil {
		return Stock{}, refuse("UNKNOWN_LABEL_SIZE", "size", typed, want)
	}
	w, _ := strconv.ParseFloat(m[1], 64) // both match a number
	h, _ := strconv.ParseFloat(m[2], 64)
	if m[3] == "in" {
		w, h = w*25.4, h*25.4
	}
	if w < labelMinW || h < labelMinH || w > labelMax || h > labelMax {
		return Stock{}, refuse("UNKNOWN_LABEL_SIZE", "size", typed, want)
	}
	return Stock{page: Size{"label", w, h}, across: 1, down: 1, w: w, h: h, single: true}, nil
}

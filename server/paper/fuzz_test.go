package paper

import (
	"bytes"
	"testing"
	"time"
)

// FuzzCode: whatever a label's code is to say, it is drawn and the document is written,
// or it is refused in words.
func FuzzCode(f *testing.F) {
	for _, text := range append(odd, "42-7", "L1") {
		f.Add(text, 18.0)
	}
	f.Fuzz(func(t *testing.T, text string, side float64) {
		if !(side > 0 && side < 300) {
			t.Skip("no label is that large")
		}
		s := newSheet(A4, "labels", time.Unix(0, 0))
		s.page()
		if err := s.code(text, 10, 10, side); err != nil {
			if len(text) < 64 && text != "" { // as long as an id may be
				t.Errorf("%q of %.1f mm: %v", text, side, err)
			}
			return
		}
		var out bytes.Buffer
		if err := s.pdf.Output(&out); err != nil || !bytes.HasPrefix(out.Bytes(), []byte("%PDF-")) {
			t.Errorf("%q of %.1f mm: %.20q (%v)", text, side, out.Bytes(), err)
		}
	})
}

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
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		s := newSheet(A4, "labels", time.Unix(0, 0))
		s.page()
		if err := s.code(text, 10, 10, 18); err != nil {
			if len(text) < 64 && text != "" { // as long as an id may be
				t.Errorf("%q: %v", text, err)
			}
			return
		}
		var out bytes.Buffer
		if err := s.pdf.Output(&out); err != nil || !bytes.HasPrefix(out.Bytes(), []byte("%PDF-")) {
			t.Errorf("%q: %.20q (%v)", text, out.Bytes(), err)
		}
	})
}

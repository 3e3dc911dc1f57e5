package main

import (
	"io"
	"strings"

	qr "github.com/piglig/go-qr"
)

// drawCode draws a QR code of a text, on a terminal: two rows of it to a line, dark
// on light whatever the terminal's colours are, with the quiet zone of four that
// ISO/IEC 18004 asks for.
func (a *app) drawCode(w io.Writer, text string) {
	if !onTerminal(a.out) {
		return
	}
	code, err := qr.EncodeText(text, qr.Medium)
	if err != nil {
		return // too long: the text itself is there
	}
	const quiet = 4
	n := code.Size()
	var b strings.Builder
	for y := -quiet; y < n+quiet; y += 2 {
		b.WriteString("  \x1b[30;107m")
		for x := -quiet; x < n+quiet; x++ {
			switch up, down := code.Module(x, y), code.Module(x, y+1); {
			case up && down:
				b.WriteString("█")
			case up:
				b.WriteString("▀")
			case down:
				b.WriteString("▄")
			default:
				b.WriteString(" ")
			}
		}
		b.WriteString("\x1b[0m\n")
	}
	b.WriteString("\n")
	_, _ = io.WriteString(w, b.String())
}

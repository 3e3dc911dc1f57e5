package paper

import (
	"strings"
	"sync"
	"unicode"

	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/sfnt"
)

// The font of all documents comes with a module and is embedded in each of them,
// so that a sheet looks the same wherever it is printed.
const fontName = "go"

// drawn are the characters that the font has.
var drawn = sync.OnceValue(func() map[rune]bool {
	has := map[rune]bool{}
	var buf sfnt.Buffer
	for i, ttf := range [][]byte{goregular.TTF, gobold.TTF} {
		f, err := sfnt.Parse(ttf)
		if err != nil {
			panic(err) // the module's own font
		}
		for r := rune(' '); r <= 0xFFFF; r++ {
			glyph, err := f.GlyphIndex(&buf, r)
			has[r] = err == nil && glyph != 0 && (i == 0 || has[r])
		}
	}
	return has
})

// missing stands for a character that the font does not have.
const missing = '□'

// longestText is how much of a text is looked at at all; no place on paper has
// room for more.
const longestText = 2000

// plain makes a text fit for one line of print: characters that the font has,
// single spaces, and not longer than any place for it.
func plain(text string) string {
	has := drawn()
	var b strings.Builder
	n, space := 0, false
	for _, r := range text {
		switch {
		case unicode.IsSpace(r), unicode.IsControl(r):
			space = b.Len() > 0
			continue
		case unicode.Is(unicode.Cf, r), unicode.Is(unicode.Variation_Selector, r):
			continue // joins or turns its neighbours; nothing by itself
		}
		if n++; n > longestText {
			b.WriteRune('…')
			break
		}
		if space {
			b.WriteByte(' ')
			space = false
		}
		if !has[r] {
			r = missing
		}
		b.WriteRune(r)
	}
	return b.String()
}

package paper_test

import (
	"bytes"
	"context"
	"encoding/xml"
	"fmt"
	"image"
	"image/png"
	"io"
	"log/slog"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/makiuchi-d/gozxing"
	"github.com/makiuchi-d/gozxing/qrcode"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/ledgertest"
	"example.org/remelt/server"
	"example.org/remelt/server/paper"
)

// The documents are read back by programs that did not write them: PDF by poppler,
// QR codes by gozxing, workbooks by excelize and LibreOffice. Without one of them a
// test skips and says so; under REMELT_CI=1 a missing poppler is a failure.

func need(t *testing.T, tool string) {
	t.Helper()
	if _, err := exec.LookPath(tool); err == nil {
		return
	}
	why := tool + " is missing (Debian package poppler-utils): the document was not read back"
	if os.Getenv("REMELT_CI") == "1" {
		t.Fatal(why)
	}
	t.Skip(why)
}

// run runs a tool on a document.
func run(t *testing.T, pdf []byte, tool string, args ...string) []byte {
	t.Helper()
	need(t, tool)
	file := filepath.Join(t.TempDir(), "doc.pdf")
	if err := os.WriteFile(file, pdf, 0o600); err != nil {
		t.Fatal(err)
	}
	for i, a := range args {
		args[i] = strings.ReplaceAll(a, "FILE", file)
	}
	var complaint bytes.Buffer
	c := exec.Command(tool, args...)
	c.Stderr = &complaint
	out, err := c.Output()
	if err != nil || complaint.Len() > 0 {
		t.Fatalf("%s: %v: %s", tool, err, complaint.String())
	}
	return out
}

// text is a document's text, in the order of its lines.
func text(t *testing.T, d *paper.Document) string {
	t.Helper()
	return string(run(t, d.PDF, "pdftotext", "-layout", "FILE", "-"))
}

// wants checks that a document says all this.
func wants(t *testing.T, d *paper.Document, all ...string) {
	t.Helper()
	said := strings.Join(strings.Fields(text(t, d)), " ")
	for _, want := range all {
		if !strings.Contains(said, want) {
			t.Errorf("%s does not say %q:\n%s", d.Name, want, cutAt(text(t, d), 6000))
		}
	}
}

func cutAt(s string, n int) string { return s[:min(n, len(s))] }

// place is where a word stands on its page, in mm.
type place struct {
	word                   string
	page                   int
	x1, y1, x2, y2, pw, ph float64
}

// places are those of all words, as poppler sees them.
func places(t *testing.T, pdf []byte) (out []place) {
	t.Helper()
	var doc struct {
		Pages []struct {
			W     float64 `xml:"width,attr"`
			H     float64 `xml:"height,attr"`
			Words []struct {
				X1   float64 `xml:"xMin,attr"`
				Y1   float64 `xml:"yMin,attr"`
				X2   float64 `xml:"xMax,attr"`
				Y2   float64 `xml:"yMax,attr"`
				Text string  `xml:",chardata"`
			} `xml:"word"`
		} `xml:"body>doc>page"`
	}
	raw := run(t, pdf, "pdftotext", "-bbox", "FILE", "-")
	d := xml.NewDecoder(bytes.NewReader(raw))
	d.Entity = xml.HTMLEntity
	if err := d.Decode(&doc); err != nil {
		t.Fatalf("%v in %s", err, cutAt(string(raw), 500))
	}
	const mm = 25.4 / 72
	for i, p := range doc.Pages {
		for _, w := range p.Words {
			out = append(out, place{w.Text, i + 1, w.X1 * mm, w.Y1 * mm, w.X2 * mm, w.Y2 * mm, p.W * mm, p.H * mm})
		}
	}
	if len(out) == 0 {
		t.Fatal("no word on any page")
	}
	return out
}

// onPaper checks that every word is inside its page's margin.
func onPaper(t *testing.T, pdf []byte, edge float64) {
	t.Helper()
	for _, p := range places(t, pdf) {
		if p.x1 < edge || p.y1 < edge || p.x2 > p.pw-edge || p.y2 > p.ph-edge {
			t.Errorf("page %d: %q at %.1f, %.1f to %.1f, %.1f of %.1f x %.1f mm", p.page, cutAt(p.word, 40), p.x1, p.y1, p.x2, p.y2, p.pw, p.ph)
		}
	}
}

// picture is one page in dots, so many an inch.
func picture(t *testing.T, pdf []byte, page, dpi int) image.Image {
	t.Helper()
	raw := run(t, pdf, "pdftoppm", "-r", fmt.Sprint(dpi), "-f", fmt.Sprint(page), "-l", fmt.Sprint(page), "-gray", "-png", "FILE")
	img, err := png.Decode(bytes.NewReader(raw))
	if err != nil {
		t.Fatal(err)
	}
	return img
}

// scanned is what a scanner reads in a picture.
func scanned(t *testing.T, img image.Image) string {
	t.Helper()
	dots, err := gozxing.NewBinaryBitmapFromImage(img)
	if err != nil {
		t.Fatal(err)
	}
	r, err := qrcode.NewQRCodeReader().Decode(dots, nil)
	if err != nil {
		t.Fatalf("no code is found: %v", err)
	}
	return r.GetText()
}

// foundry is the worked heat's shop behind a server, and a press for it.
type foundry struct {
	*ledgertest.Heat41
	*paper.Press
}

func newFoundry(t *testing.T) *foundry {
	t.Helper()
	f := &foundry{Heat41: ledgertest.RunHeat41(t)}
	s, err := server.New(server.Config{Store: kept{f.Store}, GRPC: "127.0.0.1:0", HTTP: "127.0.0.1:0", Version: "test", Drain: time.Second,
		Now: func() time.Time { return f.Now }, Log: slog.New(slog.NewTextHandler(io.Discard, nil))})
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- s.Run(ctx) }()
	conn, err := grpc.NewClient(s.GRPCAddr(), grpc.WithTransportCredentials(insecure.NewCredentials()))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		_ = conn.Close()
		cancel()
		if err := <-ended; err != nil {
			t.Errorf("the server ended with: %v", err)
		}
	})
	f.Press = paper.New(conn, func() time.Time { return f.Now })
	return f
}

// kept is a store that the test closes itself.
type kept struct{ ledger.Store }

func (kept) Close() error { return nil }

// made fails the test on an error.
func made(d *paper.Document, err error) func(*testing.T) *paper.Document {
	return func(t *testing.T) *paper.Document {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return d
	}
}

const harrow = "shops/harrow"

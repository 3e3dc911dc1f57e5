package web_test

import (
	"context"
	"io"
	"log/slog"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/ledgertest"
	"example.org/remelt/server"
)

// The pages in a real browser: Chromium, found on the path. Without one these tests
// skip and say so; under REMELT_CI=1 that is a failure.

// skip leaves a test out, or fails it where nothing may be left out.
func skip(t *testing.T, why string) {
	t.Helper()
	if os.Getenv("REMELT_CI") == "1" {
		t.Fatal(why)
	}
	t.Skip(why)
}

var chromium = sync.OnceValue(func() string {
	for _, name := range []string{"chromium", "chromium-browser", "google-chrome"} {
		if path, err := exec.LookPath(name); err == nil {
			return path
		}
	}
	return ""
})

// foundry is a server whose store outlives it, so that it can be stopped and started
// again on the same address, as a machine that loses its power is.
type foundry struct {
	heat *ledgertest.Heat41
	*testing.T
	book  *ledgertest.Shop
	store ledger.Store
	addr  string
	stop  func()
	lots  []string // some that are there

	backup func(ctx context.Context, shop string, w io.Writer, progress func(done, total int64)) (ledger.Verified, error) // nil: it makes none

	verifying func() (done, all int64) // nil: nothing is being verified
}

// kept is a store that a server's end does not close.
type kept struct{ ledger.Store }

func (kept) Close() error { return nil }

func newFoundry(t *testing.T) *foundry {
	t.Helper()
	heat := ledgertest.RunHeat41(t)
	f := foundryOf(t, heat.Shop)
	f.heat, f.lots = heat, []string{heat.Pigs.ID, heat.Skimmings.ID}
	return f
}

// foundryOf serves a book.
func foundryOf(t *testing.T, book *ledgertest.Shop) *foundry {
	t.Helper()
	f := &foundry{T: t, book: book, store: book.Store, addr: "127.0.0.1:0"}
	f.start()
	t.Cleanup(func() { f.stop() })
	return f
}

func (f *foundry) start() {
	f.Helper()
	s, err := server.New(server.Config{Store: kept{f.store}, GRPC: "127.0.0.1:0", HTTP: f.addr, Version: "test", Drain: time.Second,
		Now: func() time.Time { return f.book.Now }, Backup: f.backup, Verifying: f.verifying, Log: slog.New(slog.NewTextHandler(io.Discard, nil))})
	if err != nil {
		f.Fatal(err)
	}
	f.addr = s.HTTPAddr()
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- s.Run(ctx) }()
	f.stop = sync.OnceFunc(func() {
		cancel()
		if err := <-ended; err != nil && !strings.Contains(err.Error(), "cut off") { // a browser that holds on is cut off
			f.Errorf("the server ended with: %v", err)
		}
	})
}

func (f *foundry) url(path string) string { return "http://" + f.addr + "/shops/harrow" + path }

// count counts the entries of a kind.
func (f *foundry) count(kind ledger.Kind) (n int) {
	f.Helper()
	err := f.store.View(f.Context(), "harrow", func(r ledger.Reader) error {
		log, err := r.Log(0, 10000)
		for _, s := range log {
			e, err := s.Open()
			if err != nil {
				return err
			}
			if e.Kind == kind {
				n++
			}
		}
		return err
	})
	if err != nil {
		f.Fatal(err)
	}
	return n
}

// browser is one browser with a profile of its own, and a tab in it.
type browser struct {
	*testing.T
	ctx     context.Context
	mu      sync.Mutex
	console []string // errors the pages wrote
}

type size struct{ w, h int64 }

var phone, desk = size{390, 844}, size{1280, 800}

func newBrowser(t *testing.T, s size) *browser {
	t.Helper()
	if chromium() == "" {
		skip(t, "no Chromium on the path: the pages were not tried in a browser")
	}
	opts := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(chromium()), chromedp.NoSandbox, chromedp.DisableGPU)
	alloc, cancel := chromedp.NewExecAllocator(context.Background(), opts...)
	t.Cleanup(cancel)
	ctx, cancel := chromedp.NewContext(alloc)
	t.Cleanup(cancel)
	b := &browser{T: t, ctx: ctx}
	b.do(chromedp.EmulateViewport(s.w, s.h))
	b.listen()
	return b
}

// tab is another tab of the same browser.
func (b *browser) tab(s size) *browser {
	b.Helper()
	ctx, cancel := chromedp.NewContext(b.ctx)
	b.Cleanup(cancel)
	other := &browser{T: b.T, ctx: ctx}
	other.do(chromedp.EmulateViewport(s.w, s.h))
	other.listen()
	return other
}

func (b *browser) listen() {
	messages := chromedp.Console(b.ctx)
	go func() {
		for m, err := range messages {
			if err != nil {
				return
			}
			if m.IsException() || m.Type == "error" || m.Type == "warning" {
				b.mu.Lock()
				b.console = append(b.console, m.String()+" "+m.URL)
				b.mu.Unlock()
			}
		}
	}()
}

func (b *browser) do(steps ...chromedp.Action[chromedp.Void]) {
	b.Helper()
	for i, s := range steps {
		if err := chromedp.Do(b.ctx, s); err != nil {
			b.Fatalf("step %d: %v", i+1, err)
		}
	}
}

func (b *browser) open(url string) { b.Helper(); b.do(chromedp.Navigate(url)) }

// js runs an expression, waiting for its promise.
func js[T any](b *browser, expression string) T {
	b.Helper()
	v, err := chromedp.Run(b.ctx, chromedp.Evaluate[T](expression, chromedp.EvalAwaitPromise))
	if err != nil {
		b.Fatalf("%s: %v", expression, err)
	}
	return v
}

// until waits for an expression to be true.
func (b *browser) until(what, expression string) {
	b.Helper()
	for end := time.Now().Add(60 * time.Second); time.Now().Before(end); time.Sleep(50 * time.Millisecond) {
		if ok, err := chromedp.Run(b.ctx, chromedp.Evaluate[bool](expression, chromedp.EvalAwaitPromise)); err == nil && ok {
			return
		}
	}
	body, _ := chromedp.Run(b.ctx, chromedp.Evaluate[string]("document.body.innerText"))
	b.Fatalf("%s: not so after a minute; the page says:\n%s", what, body)
}

// quiet fails the test if the page wrote an error that is not of a kind expected.
func (b *browser) quiet(expected ...string) {
	b.Helper()
	b.mu.Lock()
	defer b.mu.Unlock()
next:
	for _, m := range b.console {
		for _, e := range expected {
			if strings.Contains(m, e) {
				continue next
			}
		}
		b.Errorf("the console says: %s", m)
	}
}

// dark asks pages for their dark colours.
func (b *browser) dark() {
	b.Helper()
	if _, err := chromedp.Call(b.ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{
		Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: "dark"}}}); err != nil {
		b.Fatal(err)
	}
}

// axe is the text of the accessibility rules, when they are installed.
var axe = sync.OnceValue(func() string {
	text, err := os.ReadFile(filepath.Join("..", "..", ".web", "node_modules", "axe-core", "axe.min.js"))
	if err != nil {
		return ""
	}
	return string(text)
})

// get fetches a page without a browser.
func (f *foundry) get(url string) (code int, body string) {
	f.Helper()
	req, err := http.NewRequestWithContext(f.Context(), http.MethodGet, url, http.NoBody)
	if err != nil {
		f.Fatal(err)
	}
	resp, err := http.DefaultClient.Do(req)
	if err != nil {
		f.Fatal(err)
	}
	defer func() { _ = resp.Body.Close() }()
	raw, err := io.ReadAll(resp.Body)
	if err != nil {
		f.Fatal(err)
	}
	return resp.StatusCode, string(raw)
}

package main

import (
	"bytes"
	"context"
	"io"
	"net/http"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"
)

// served runs remelt serve on a new book with further flags, and gives where it
// listens and what ends it.
func served(t *testing.T, flags ...string) (grpc, metrics string, out *told, stop func()) {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	out = &told{}
	a := &app{in: strings.NewReader(""), out: out, err: &told{}, now: time.Now}
	code := make(chan int, 1)
	args := append([]string{"serve", "--db", filepath.Join(t.TempDir(), "book.db"), "--shop", "harrow", "--http", "127.0.0.1:0", "--grpc", "127.0.0.1:0"}, flags...)
	go func() { code <- a.run(ctx, args) }()
	for range 600 {
		if m := regexp.MustCompile(`(?s)gRPC +(\S+:\d+)\n.*Stop it`).FindStringSubmatch(out.String()); m != nil {
			if at := regexp.MustCompile(`Metrics: (http://\S+)/metrics`).FindStringSubmatch(out.String()); at != nil {
				metrics = at[1]
			}
			return m[1], metrics, out, func() {
				cancel()
				if c := <-code; c != exitOK {
					t.Errorf("the server ended with %d: %s", c, a.err)
				}
			}
		}
		select {
		case c := <-code:
			t.Fatalf("the server ended with %d: %s", c, a.err)
		case <-time.After(50 * time.Millisecond):
		}
	}
	t.Fatalf("the server does not say where it is: %s", out)
	return "", "", nil, nil
}

// got asks for a page under a host's name.
func got(t *testing.T, url, host string) (int, string) {
	t.Helper()
	r, err := http.NewRequestWithContext(t.Context(), http.MethodGet, url, nil)
	if err != nil {
		t.Fatal(err)
	}
	r.Host = host
	a, err := http.DefaultClient.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	defer a.Body.Close()
	body, err := io.ReadAll(a.Body)
	if err != nil {
		t.Fatal(err)
	}
	return a.StatusCode, string(body)
}

func TestMetrics(t *testing.T) {
	grpc, metrics, _, stop := served(t, "--metrics", "127.0.0.1:0", "--backup-to", t.TempDir())
	defer stop()
	mustRun(t, "set", "place", "rack", "ingot rack", "--server", grpc)
	a := &app{in: strings.NewReader(""), out: &told{}, err: &told{}, now: time.Now}
	if code := a.run(t.Context(), []string{"lot", "NONE", "--server", grpc}); code != exitNotFound {
		t.Errorf("no such lot: status %d", code)
	}
	_, text := got(t, metrics+"/metrics", "")
	for _, line := range []string{
		`remelt_call_duration_seconds_count{code="OK",method="/remelt.v1.PlaceService/UpdatePlace"} 1`,
		`remelt_call_duration_seconds_count{code="NOT_FOUND",method="/remelt.v1.LotService/GetLot"} 1`,
		`remelt_writes_total{outcome="done"} 1`,
		"remelt_ready 1", "remelt_backup_failures_total 0", "remelt_backup_last_timestamp_seconds ", "go_goroutines ",
	} {
		if !strings.Contains(text, "\n"+line) {
			t.Errorf("the metrics do not have %s", line)
		}
	}
	for _, secret := range []string{"harrow", "rack", "NONE"} {
		if strings.Contains(text, secret) {
			t.Errorf("the metrics tell %q", secret)
		}
	}
	for path, want := range map[string]int{"/readyz": http.StatusOK, "/debug/pprof/": http.StatusNotFound, "/": http.StatusNotFound} {
		if code, _ := got(t, metrics+path, ""); code != want {
			t.Errorf("%s: %d, want %d", path, code, want)
		}
	}
	if code, _ := got(t, metrics+"/metrics", "page.example"); code != http.StatusForbidden {
		t.Errorf("under another's name: %d", code)
	}
}

func TestProfiles(t *testing.T) {
	_, metrics, _, stop := served(t, "--metrics", "127.0.0.1:0", "--pprof")
	if code, text := got(t, metrics+"/debug/pprof/goroutine?debug=1", ""); code != http.StatusOK || !strings.Contains(text, "goroutine profile") {
		t.Errorf("%d %s", code, text)
	}
	stop()
	for _, line := range []string{"--pprof", "--pprof --metrics 0.0.0.0:0", "--traces nowhere:at:all"} {
		var out, errs bytes.Buffer
		a := &app{in: strings.NewReader(""), out: &out, err: &errs, now: time.Now}
		args := append([]string{"serve", "--db", filepath.Join(t.TempDir(), "book.db"), "--http", "127.0.0.1:0", "--grpc", "127.0.0.1:0"}, strings.Fields(line)...)
		soon, cancel := context.WithTimeout(t.Context(), time.Minute)
		code := a.run(soon, args)
		cancel()
		if code != exitUsage || !strings.Contains(errs.String(), strings.Fields(line)[0]) {
			t.Errorf("%s: status %d\n%s", line, code, &errs)
		}
	}
}

// A trace has a span of each call, with its name and nothing that was said in it.
func TestTraces(t *testing.T) {
	grpc, _, out, stop := served(t, "--traces", "stdout")
	mustRun(t, "set", "place", "rack", "ingot rack", "--server", grpc)
	stop()
	if !strings.Contains(out.String(), `"Name":"remelt.v1.PlaceService/UpdatePlace"`) {
		t.Errorf("there is no span of the call:\n%s", out)
	}
	if strings.Contains(out.String(), "ingot rack") {
		t.Errorf("a span tells what was said:\n%s", out)
	}
}

package main

import (
	"bytes"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// TestReadmeTour starts the demo shop as the README says and runs every line of
// its tour, so that the tour cannot rot.
func TestReadmeTour(t *testing.T) {
	text, err := os.ReadFile(filepath.Join("..", "..", "README.md"))
	if err != nil {
		t.Fatal(err)
	}
	free, err := freeAddresses(2)
	if err != nil {
		t.Fatal(err)
	}
	bin := filepath.Join(t.TempDir(), "remelt")
	if out, err := exec.Command("go", "build", "-o", bin, ".").CombinedOutput(); err != nil {
		t.Fatalf("go build: %v\n%s", err, out)
	}
	var log bytes.Buffer
	serve := exec.Command(bin, "serve", "--demo", "--http", free[0], "--grpc", free[1])
	serve.Stdout, serve.Stderr = &log, &log
	if err := serve.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = serve.Process.Kill() })
	waitFor(t, "http://"+free[0]+"/healthz")
	t.Setenv("REMELT_SERVER", free[1])
	t.Setenv("PATH", filepath.Dir(bin)+string(os.PathListSeparator)+os.Getenv("PATH"))
	ran, dir := 0, t.TempDir()
	for _, line := range tour(string(text)) {
		cmd := exec.Command("sh", "-euc", strings.ReplaceAll(line, "127.0.0.1:8080", free[0]))
		cmd.Dir = dir // some write files
		if strings.HasPrefix(line, "curl ") {
			if _, err := exec.LookPath("curl"); err != nil {
				if os.Getenv("REMELT_CI") != "" {
					t.Fatal("curl is needed")
				}
				t.Log("no curl here: not tried:", line)
				continue
			}
			cmd.Args[2] = strings.Replace(cmd.Args[2], "curl -s", "curl -sS --fail-with-body", 1)
		}
		if out, err := cmd.CombinedOutput(); err != nil || len(out) == 0 {
			t.Errorf("%s\n%v\n%s", line, err, out)
		}
		ran++
	}
	if ran < 8 {
		t.Errorf("only %d lines of the tour were found", ran)
	}
	if err := serve.Process.Signal(os.Interrupt); err != nil {
		t.Fatal(err)
	}
	if err := serve.Wait(); err != nil {
		t.Errorf("serve ended with %v\n%s", err, &log)
	}
}

// tour gives the lines of the README's shell blocks that talk to a running server.
func tour(text string) (lines []string) {
	inside := false
	for line := range strings.Lines(text) {
		line = strings.TrimSpace(line)
		switch {
		case line == "```sh":
			inside = true
		case line == "```":
			inside = false
		case inside && (strings.HasPrefix(line, "remelt ") || strings.HasPrefix(line, "curl ")):
			lines = append(lines, line)
		}
	}
	return lines
}

func waitFor(t *testing.T, url string) {
	t.Helper()
	for range 600 {
		if resp, err := http.Get(url); err == nil { //nolint:noctx // a test on loopback
			_ = resp.Body.Close()
			if resp.StatusCode == http.StatusOK {
				return
			}
		}
		time.Sleep(100 * time.Millisecond)
	}
	t.Fatal("the server is not healthy after a minute")
}

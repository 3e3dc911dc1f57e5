package server

import (
	"log/slog"
	"testing"
)

func TestLibrariesSpeakThroughTheLog(t *testing.T) {
	out := &logged{}
	before := libraries.Load()
	defer libraries.Store(before)
	LogLibraries(slog.New(slog.NewJSONHandler(out, nil)))
	l := libraryLog{}
	l.Infof("chatter %d", 1)
	l.Warning("chatter")
	l.Errorf("lost \xff a client: %v", "pipe")
	lines := out.lines("grpc")
	if len(lines) != 1 || lines[0]["says"] != "lost \uFFFD a client: pipe" || lines[0]["level"] != "WARN" {
		t.Errorf("logged %v", lines)
	}
}

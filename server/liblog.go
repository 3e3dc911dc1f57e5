package server

import (
	"fmt"
	"log/slog"
	"strings"
	"sync/atomic"

	"google.golang.org/grpc/grpclog"
)

// libraries is where the gRPC libraries' own words go: they keep one logger for the
// process and read it without a lock, so it is set once, before any of them runs.
var libraries atomic.Pointer[slog.Logger]

func init() { grpclog.SetLoggerV2(libraryLog{}) }

// LogLibraries sends what the gRPC libraries say by themselves to a log, as one
// warning each, instead of to the program's default one. It holds for the process.
func LogLibraries(log *slog.Logger) { libraries.Store(log) }

// libraryLog keeps errors, most of which are about clients that went away, and
// lets the rest go.
type libraryLog struct{}

func (libraryLog) Info(...any)                 {}
func (libraryLog) Infoln(...any)               {}
func (libraryLog) Infof(string, ...any)        {}
func (libraryLog) Warning(...any)              {}
func (libraryLog) Warningln(...any)            {}
func (libraryLog) Warningf(string, ...any)     {}
func (l libraryLog) Error(a ...any)            { l.say(fmt.Sprint(a...)) }
func (l libraryLog) Errorln(a ...any)          { l.say(fmt.Sprintln(a...)) }
func (l libraryLog) Errorf(f string, a ...any) { l.say(fmt.Sprintf(f, a...)) }
func (libraryLog) V(int) bool                  { return false }

// Fatal and its like are for programs that cannot go on; the caller of gRPC can,
// and hears of it as an error.
func (l libraryLog) Fatal(a ...any)            { l.say(fmt.Sprint(a...)) }
func (l libraryLog) Fatalln(a ...any)          { l.say(fmt.Sprintln(a...)) }
func (l libraryLog) Fatalf(f string, a ...any) { l.say(fmt.Sprintf(f, a...)) }

func (libraryLog) say(text string) {
	log := libraries.Load()
	if log == nil {
		log = slog.Default()
	}
	log.Warn("grpc", "says", utf8Only(strings.TrimSpace(text)))
}

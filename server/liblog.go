package server

import (
	"fmt"
	"log/slog"
	"strings"

	"google.golang.org/grpc/grpclog"
)

// LogLibraries sends what the gRPC libraries say by themselves to a log, as one
// warning each, instead of as plain text to standard error. They keep one logger
// for the process, so a program calls this once, before it makes a server.
func LogLibraries(log *slog.Logger) { grpclog.SetLoggerV2(libraryLog{log}) }

// libraryLog keeps errors, most of which are about clients that went away, and
// lets the rest go.
type libraryLog struct{ log *slog.Logger }

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

func (l libraryLog) say(text string) {
	l.log.Warn("grpc", "says", utf8Only(strings.TrimSpace(text)))
}

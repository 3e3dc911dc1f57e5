package main

import (
	"cmp"
	"context"
	"os"
	"os/user"

	"github.com/google/uuid"
	"github.com/spf13/cobra"
	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/timestamppb"
)

// write is what every command that records something can be told beside its content.
type write struct {
	who, happened, reason, requestID string
	dryRun                           bool
}

// writeFlags gives a command the flags of a write.
func writeFlags(c *cobra.Command) *write {
	w := &write{}
	f := c.Flags()
	f.StringVar(&w.who, "who", "", "who did it (REMELT_WHO, or you, unless said)")
	f.StringVar(&w.happened, "happened", "", "when it happened, such as \"2026-03-02 14:00\" in the shop's time zone (now, unless said)")
	f.StringVar(&w.reason, "reason", "", "why; asked for when the fact is unusual")
	f.BoolVar(&w.dryRun, "dry-run", false, "check it and show what would be, but record nothing")
	f.StringVar(&w.requestID, "request-id", "", "UUID of this wish, to send it again without recording it twice")
	noFiles(c, "who", "happened", "reason", "request-id")
	return w
}

// fill puts what every write carries into a request, by the names that all
// requests of writes share.
func (a *app) fill(ctx context.Context, w *write, req proto.Message) error {
	at, err := a.readTime(ctx, "--happened", w.happened, noon)
	if err != nil {
		return err
	}
	if w.requestID == "" {
		w.requestID = uuid.NewString() // known here, so that it can be told when nobody answers
	} else if id, err := uuid.Parse(w.requestID); err != nil || id.String() != w.requestID {
		return usagef("--request-id %q: must be a UUID such as 0191e0a4-7b1c-4cc2-9e0d-3d2f5a6b7c8d", w.requestID)
	}
	if w.who == "" {
		w.who = cmp.Or(os.Getenv("REMELT_WHO"), userName())
	}
	m := req.ProtoReflect()
	set := func(name protoreflect.Name, v any) {
		m.Set(m.Descriptor().Fields().ByName(name), protoreflect.ValueOf(v))
	}
	set("request_id", w.requestID)
	set("validate_only", w.dryRun)
	set("reason", w.reason)
	set("who", w.who)
	set("device", hostName())
	if at != nil {
		set("happened_time", (&timestamppb.Timestamp{Seconds: at.GetSeconds(), Nanos: at.GetNanos()}).ProtoReflect())
	}
	return nil
}

// send fills in what every write carries and sends the request.
func send[Req, Resp proto.Message](ctx context.Context, a *app, w *write, call func(context.Context, Req, ...grpc.CallOption) (Resp, error), req Req) (Resp, error) {
	if err := a.fill(ctx, w, req); err != nil {
		return *new(Resp), err
	}
	resp, err := call(ctx, req)
	if err != nil {
		return resp, sentError{err, w.requestID}
	}
	return resp, nil
}

func userName() string {
	if u, err := user.Current(); err == nil && u.Username != "" {
		return u.Username
	}
	return os.Getenv("USER")
}

func hostName() string {
	h, err := os.Hostname()
	if err != nil {
		return ""
	}
	return h
}

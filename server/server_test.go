package server

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"strings"
	"sync"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials/insecure"
	healthpb "google.golang.org/grpc/health/grpc_health_v1"
	reflectpb "google.golang.org/grpc/reflection/grpc_reflection_v1"
	"google.golang.org/grpc/status"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger"
	"example.org/remelt/ledger/ledgertest"
	"example.org/remelt/ledger/memory"
	"example.org/remelt/ledger/storetest"
)

// world is a server on a store in memory with the book of shop "harrow" in it.
type world struct {
	*testing.T
	*Server
	book *ledgertest.Shop
	conn *grpc.ClientConn
	log  *logged
	stop func() error // stops the server and returns what Run did
}

// serve starts a server on free ports and stops it after the test.
func serve(t *testing.T, change ...func(*Config)) *world {
	t.Helper()
	w := &world{T: t, log: &logged{}}
	store := storetest.Rehearsing{Store: memory.New()}
	w.book = ledgertest.OpenIn(t, store)
	cfg := Config{
		Store: store, GRPC: "127.0.0.1:0", HTTP: "127.0.0.1:0", Version: "test",
		Log: slog.New(slog.NewJSONHandler(w.log, &slog.HandlerOptions{Level: slog.LevelDebug})),
		Now: func() time.Time { return w.book.Now },
	}
	for _, c := range change {
		c(&cfg)
	}
	s, err := New(cfg)
	if err != nil {
		t.Fatal(err)
	}
	w.Server = s
	ctx, cancel := context.WithCancel(context.Background())
	result := make(chan error, 1)
	go func() { result <- s.Run(ctx) }()
	var once sync.Once
	w.stop = func() (err error) {
		once.Do(func() { cancel(); err = <-result })
		return err
	}
	t.Cleanup(func() {
		if err := w.stop(); err != nil {
			t.Errorf("Run: %v", err)
		}
	})
	if w.conn, err = grpc.NewClient(s.GRPCAddr(), grpc.WithTransportCredentials(insecure.NewCredentials())); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = w.conn.Close() })
	return w
}

// do sends a request and returns the answer with its body read.
func (w *world) do(method, path, body string, header ...string) (*http.Response, string) {
	w.Helper()
	r, err := http.NewRequestWithContext(w.Context(), method, "http://"+w.HTTPAddr()+path, strings.NewReader(body))
	if err != nil {
		w.Fatal(err)
	}
	for i := 0; i < len(header); i += 2 {
		if header[i] == "Host" {
			r.Host = header[i+1]
		}
		r.Header.Set(header[i], header[i+1])
	}
	resp, err := http.DefaultClient.Do(r)
	if err != nil {
		w.Fatal(err)
	}
	defer resp.Body.Close()
	got, err := io.ReadAll(resp.Body)
	if err != nil {
		w.Fatal(err)
	}
	return resp, string(got)
}

// refused sends a request that must be refused with an HTTP status and a reason,
// naming a field, in the form of every error.
func (w *world) refused(method, path, body string, code int, reason, field string, header ...string) {
	w.Helper()
	resp, got := w.do(method, path, body, header...)
	if resp.StatusCode != code {
		w.Fatalf("%s %s: HTTP %d, want %d: %s", method, path, resp.StatusCode, code, got)
	}
	if info := infoOf(w.T, got); info.Reason != reason || info.Domain != "remelt" || info.Metadata["field"] != field {
		w.Errorf("%s %s: reason %q field %q domain %q, want %q %q: %s", method, path, info.Reason, info.Metadata["field"], info.Domain, reason, field, got)
	}
}

type errorInfo struct {
	Type     string `json:"@type"`
	Reason   string
	Domain   string
	Metadata map[string]string
}

// infoOf is the one ErrorInfo of an error's body.
func infoOf(t *testing.T, body string) (info errorInfo) {
	t.Helper()
	var st struct {
		Code    int
		Message string
		Details []errorInfo
	}
	if err := json.Unmarshal([]byte(body), &st); err != nil {
		t.Fatalf("not a status: %v: %s", err, body)
	}
	n := 0
	for _, d := range st.Details {
		if d.Type == "type.googleapis.com/google.rpc.ErrorInfo" {
			info = d
			n++
		}
	}
	if n != 1 || st.Message == "" || st.Code == 0 {
		t.Fatalf("want a code, a message and one ErrorInfo, got %d: %s", n, body)
	}
	return info
}

// logged collects log lines.
type logged struct {
	mu  sync.Mutex
	buf bytes.Buffer
}

func (l *logged) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.buf.Write(p)
}

// lines are the lines whose msg is given.
func (l *logged) lines(msg string) (out []map[string]any) {
	l.mu.Lock()
	defer l.mu.Unlock()
	for line := range strings.Lines(l.buf.String()) {
		m := map[string]any{}
		if json.Unmarshal([]byte(line), &m) == nil && m["msg"] == msg {
			out = append(out, m)
		}
	}
	return out
}

// fakePlaces stands for a handler that does what a test wants.
type fakePlaces struct {
	pb.UnimplementedPlaceServiceServer
	get func(context.Context, *pb.GetPlaceRequest) error
}

func (f fakePlaces) GetPlace(ctx context.Context, r *pb.GetPlaceRequest) (*pb.GetPlaceResponse, error) {
	return &pb.GetPlaceResponse{Place: &pb.Place{Name: r.GetName()}}, f.get(ctx, r)
}

// withGetPlace replaces the handler of GetPlace and leaves out the other services.
func withGetPlace(get func(context.Context, *pb.GetPlaceRequest) error) func(*Config) {
	return func(c *Config) {
		c.services = func(r grpc.ServiceRegistrar, _ Deps) { pb.RegisterPlaceServiceServer(r, fakePlaces{get: get}) }
	}
}

func (w *world) getPlace(name string) error {
	_, err := pb.NewPlaceServiceClient(w.conn).GetPlace(w.Context(), &pb.GetPlaceRequest{Name: name})
	return err
}

func TestAPanicIsHiddenBehindALogID(t *testing.T) {
	w := serve(t, withGetPlace(func(context.Context, *pb.GetPlaceRequest) error { panic("a crucible named Bertha") }))
	err := w.getPlace("shops/harrow/places/rack")
	if status.Code(err) != codes.Internal || strings.Contains(err.Error(), "Bertha") {
		t.Fatalf("got %v", err)
	}
	resp, body := w.do("GET", "/v1/shops/harrow/places/rack", "")
	if resp.StatusCode != http.StatusInternalServerError {
		t.Fatalf("HTTP %d: %s", resp.StatusCode, body)
	}
	id := infoOf(t, body).Metadata["log_id"]
	var found bool
	for _, l := range w.log.lines("internal error") {
		found = found || l["log_id"] == id && strings.Contains(fmt.Sprint(l["error"]), "Bertha") && strings.Contains(fmt.Sprint(l["stack"]), "server_test.go")
	}
	if !found {
		t.Errorf("the log does not say what happened under %q", id)
	}
	if _, _ = w.do("GET", "/healthz", ""); w.getPlace("shops/harrow/places/rack") == nil {
		t.Error("the server went on as if nothing had happened")
	}
}

func TestACallWithoutADeadlineGetsOne(t *testing.T) {
	w := serve(t, withGetPlace(func(ctx context.Context, _ *pb.GetPlaceRequest) error { <-ctx.Done(); return ctx.Err() }),
		func(c *Config) { c.Deadline = 20 * time.Millisecond })
	if err := w.getPlace("x"); status.Code(err) != codes.DeadlineExceeded {
		t.Errorf("got %v", err)
	}
	resp, body := w.do("GET", "/v1/shops/harrow/places/rack", "")
	if resp.StatusCode != http.StatusGatewayTimeout || infoOf(t, body).Reason != "DEADLINE_EXCEEDED" {
		t.Errorf("HTTP %d: %s", resp.StatusCode, body)
	}
}

func TestALogLineHasIDsAndNoContent(t *testing.T) {
	w := serve(t, withGetPlace(func(context.Context, *pb.GetPlaceRequest) error {
		return &ledger.Error{Class: ledger.ErrNotFound, Reason: "NOT_FOUND", Field: "place", Value: "rack"}
	}))
	w.do("GET", "/v1/shops/harrow/places/rack", "", "X-Forwarded-For", "203.0.113.9")
	lines := w.log.lines("call")
	if len(lines) != 1 {
		t.Fatalf("%d lines", len(lines))
	}
	l := lines[0]
	for key, want := range map[string]string{"method": pb.PlaceService_GetPlace_FullMethodName, "code": "NOT_FOUND", "shop": "harrow", "reason": "NOT_FOUND", "peer": "127.0.0.1"} {
		if l[key] != want {
			t.Errorf("%s is %v, want %s", key, l[key], want)
		}
	}
	w.refused("GET", "/v1/shops/harrow/places/rack", "", 401, "BAD_CREDENTIAL", "", "Authorization", "Bearer s3cret")
	if _, ok := l["duration_ms"].(float64); !ok {
		t.Errorf("duration_ms is %v", l["duration_ms"])
	}
	w.log.mu.Lock()
	defer w.log.mu.Unlock()
	if strings.Contains(w.log.buf.String(), "s3cret") {
		t.Error("a token is in the log")
	}
}

func TestGracefulStopWithOpenStreams(t *testing.T) {
	w := serve(t)
	watch, err := pb.NewEntryServiceClient(w.conn).WatchEntries(w.Context(), &pb.WatchEntriesRequest{Parent: "shops/harrow"})
	if err != nil {
		t.Fatal(err)
	}
	for { // until it waits for new entries
		m, err := watch.Recv()
		if err != nil {
			t.Fatal(err)
		}
		if m.GetEntry() == nil {
			break
		}
	}
	reflection, err := reflectpb.NewServerReflectionClient(w.conn).ServerReflectionInfo(w.Context())
	if err != nil {
		t.Fatal(err)
	}
	ask := &reflectpb.ServerReflectionRequest{MessageRequest: &reflectpb.ServerReflectionRequest_ListServices{}}
	if err := reflection.Send(ask); err != nil {
		t.Fatal(err)
	}
	if _, err := reflection.Recv(); err != nil { // it now waits for the client to say more
		t.Fatal(err)
	}
	health, err := healthpb.NewHealthClient(w.conn).Watch(w.Context(), &healthpb.HealthCheckRequest{Service: "remelt.v1.EntryService"})
	if err != nil {
		t.Fatal(err)
	}
	for { // at first it has not looked at the store yet
		h, err := health.Recv()
		if err != nil {
			t.Fatal(err)
		}
		if h.GetStatus() == healthpb.HealthCheckResponse_SERVING {
			break
		}
	}
	rest, err := http.Get("http://" + w.HTTPAddr() + "/v1/shops/harrow/entries:watch")
	if err != nil {
		t.Fatal(err)
	}
	defer rest.Body.Close()

	begun := time.Now()
	if err := w.stop(); err != nil {
		t.Errorf("Run: %v", err)
	}
	if took := time.Since(begun); took > 5*time.Second { // Config.Drain is 10 s
		t.Errorf("it took %s: the streams were waited for", took)
	}
	if _, err := watch.Recv(); status.Code(err) != codes.Unavailable || !strings.Contains(err.Error(), "stopping") {
		t.Errorf("the watcher heard %v", err)
	}
	if h, err := health.Recv(); err != nil || h.GetStatus() != healthpb.HealthCheckResponse_NOT_SERVING {
		t.Errorf("health said %v, %v before the end", h, err)
	}
	lines, err := io.ReadAll(rest.Body)
	if err != nil || !strings.Contains(string(lines), `"SHUTTING_DOWN"`) {
		t.Errorf("the REST watcher heard %v: %.300s", err, lines)
	}
	for _, l := range w.log.lines("call") {
		if l["level"] == "ERROR" {
			t.Errorf("an ordinary end is logged as %v", l)
		}
	}
	if len(w.log.lines("the store failed")) != 0 {
		t.Error("an ordinary end is logged as a fault of the store")
	}
	if _, err := w.book.HeadOf(context.Background()); err == nil {
		t.Error("the store is still open")
	}
}

func TestACallInProgressMayFinish(t *testing.T) {
	begun, finish := make(chan struct{}), make(chan struct{})
	w := serve(t, withGetPlace(func(context.Context, *pb.GetPlaceRequest) error { close(begun); <-finish; return nil }))
	answer, stopped := make(chan error, 1), make(chan error, 1)
	go func() { answer <- w.getPlace("x") }()
	<-begun
	go func() { stopped <- w.stop() }()
	for w.vitals.ready() != "stopping" {
		time.Sleep(time.Millisecond)
	}
	close(finish)
	if err := <-answer; err != nil {
		t.Errorf("the call: %v", err)
	}
	if err := <-stopped; err != nil {
		t.Errorf("Run: %v", err)
	}
}

func TestACallThatHangsIsCutOff(t *testing.T) {
	begun, finish := make(chan struct{}), make(chan struct{})
	w := serve(t, withGetPlace(func(context.Context, *pb.GetPlaceRequest) error { close(begun); <-finish; return nil }),
		func(c *Config) { c.Drain = 50 * time.Millisecond })
	answer, stopped := make(chan error, 1), make(chan error, 1)
	go func() { answer <- w.getPlace("x") }()
	<-begun
	go func() { stopped <- w.stop() }()
	if err := <-answer; err == nil {
		t.Error("the call was answered")
	}
	close(finish)
	if err := <-stopped; err == nil || !strings.Contains(err.Error(), "cut off") {
		t.Errorf("Run: %v", err)
	}
}

func TestRunFailsWhenAListenerFails(t *testing.T) {
	w := serve(t)
	if err := w.onHTTP.Close(); err != nil {
		t.Fatal(err)
	}
	for w.vitals.ready() != "stopping" {
		time.Sleep(time.Millisecond)
	}
	if err := w.stop(); err == nil {
		t.Error("Run returned nil")
	}
}

func TestAddressesAreTaken(t *testing.T) {
	w := serve(t)
	for name, cfg := range map[string]Config{
		"gRPC":  {Store: memory.New(), GRPC: w.GRPCAddr(), HTTP: "127.0.0.1:0"},
		"HTTP":  {Store: memory.New(), GRPC: "127.0.0.1:0", HTTP: w.HTTPAddr()},
		"store": {GRPC: "127.0.0.1:0", HTTP: "127.0.0.1:0"},
	} {
		if _, err := New(cfg); err == nil || !strings.Contains(err.Error(), name) {
			t.Errorf("%s: got %v", name, err)
		}
	}
}

// Package server offers the metal book over gRPC, over REST and on a plain page.
//
// One gRPC server does the work. The REST gateway calls its methods inside the
// process, by the same interceptor, so both are checked, logged and answered
// alike: one table turns the domain's errors into codes with a machine-readable
// reason, unknown errors are hidden behind a log id, and every call has a deadline.
//
// It promises to stop in order: it says that it is going, ends its streams, lets
// calls that run finish for a while, and closes the store last. It holds no state
// that another server on the same store could not build again.
//
// It refuses unknown fields, bodies that are too large, and requests that a page
// of another site makes a browser send.
//
// Who may do what is decided in one place (admission) by one table (rules.go): the
// least that each method of the API and each page asks for; and a shop's book is
// opened for nobody of another shop. A shop to which nobody can sign in yet is open
// to whoever reaches the server, which then is this machine only: to be reached
// from beyond, a server needs TLS, its own or a proxy's, and somebody who can sign
// in to each shop, or it does not start.
package server

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"os"
	"runtime/debug"
	"sync"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/credentials/insecure"
	healthpb "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/keepalive"
	"google.golang.org/grpc/reflection"
	"google.golang.org/grpc/stats"
	"google.golang.org/grpc/test/bufconn"

	"example.org/remelt/ledger"
	"example.org/remelt/server/signin"
	"example.org/remelt/server/web"
)

// Config is what a server can be told. Only Store must be given.
type Config struct {
	// Store holds the books. Run closes it.
	Store ledger.Store

	// GRPC is the address for gRPC; 127.0.0.1:9090 when empty. Port 0 takes a
	// free one, see Server.GRPCAddr.
	GRPC string

	// HTTP is the address for REST and the page; 127.0.0.1:8080 when empty.
	HTTP string

	// Hosts are further names under which HTTP clients may call, without port.
	// A loopback address answers to localhost and loopback addresses and to
	// these; another address answers to every name until some are set.
	Hosts []string

	// CertFile and KeyFile are the certificate for both addresses, in PEM; none
	// when empty. Files that change are read again.
	CertFile, KeyFile string

	// BehindProxy says that a proxy in front of the server speaks TLS with those
	// outside and says in X-Forwarded-For whom it speaks for.
	BehindProxy bool

	// Rate is how many calls a second each person, and each address that did not
	// sign in, may make of a server that others than this machine can reach; 50
	// when 0, with bursts of six times as many.
	Rate float64

	// URL is the address of the pages as others see it, for links to them; made of
	// HTTP and the first of Hosts when empty, without a port behind a proxy.
	URL string

	// Log is where to log; JSON lines on standard error when nil. A line holds
	// ids, codes and durations, never what was written.
	Log *slog.Logger

	// Now is the clock that stamps entries; time.Now when nil.
	Now func() time.Time

	// Version is shown at /version; the version of the build when empty.
	Version string

	// Deadline ends a call that set none; 30 s when 0. Streams have none.
	Deadline time.Duration

	// Heartbeat is the silence after which a watcher hears where the book ends;
	// 15 s when 0.
	Heartbeat time.Duration

	// Poll is how often to look for entries that other servers on the same
	// store wrote; 1 s when 0. Its own are sent at once.
	Poll time.Duration

	// Watchers is the most watchers at a time; 256 when 0.
	Watchers int

	// Drain is how long calls may take to finish when the server stops; 10 s when 0.
	Drain time.Duration

	// MaxBody is the largest body of an HTTP request in bytes; 1 MiB when 0. A
	// gRPC message may have 4 MiB.
	MaxBody int64

	// NoReflection leaves out the gRPC service that tells tools the schema.
	NoReflection bool

	// Metrics is where to register what is counted; nowhere when nil.
	Metrics prometheus.Registerer

	// Traces hears of every call, such as a handler of OpenTelemetry's; nil for none.
	Traces stats.Handler

	// Backup writes a copy of the store that holds a shop's book, taken while
	// the server works, and says what verifying the copy found. Without it the
	// server has no backup to give.
	Backup func(ctx context.Context, shop string, w io.Writer, progress func(done, total int64)) (ledger.Verified, error)

	// Beside is work that goes on while the server serves, until ctx is done; nil for
	// none. An error of it ends the serving. The store is closed after it.
	Beside func(ctx context.Context) error

	// Verifying tells how many entries of how many are verified while they are served
	// already; the same when all are, or nil when none are to be. Pages and /readyz say so.
	Verifying func() (done, all int64)

	services func(grpc.ServiceRegistrar, Deps) // RegisterServices, unless a test has its own
}

// Limits that are not worth a setting.
const (
	maxMessage     = 4 << 20 // bytes of a gRPC request
	callWorkers    = 64      // keep their stacks from one call to the next; more calls than that get one of their own
	maxStreams     = 1024    // calls at a time on one connection, and by REST; well above Config.Watchers, which share one
	pingAfter      = 30 * time.Second
	pingTimeout    = 10 * time.Second
	clientPings    = 20 * time.Second // the default of 5 min throws out clients that ping
	headerTime     = 10 * time.Second
	idleTime       = 2 * time.Minute
	maxHeaderBytes = 64 << 10
	healthEvery    = 5 * time.Second
	lastWord       = 50 * time.Millisecond // for those who watch the health, before their streams end
)

func (c *Config) fill() error {
	if c.Store == nil {
		return errors.New("server: a store is needed")
	}
	def(&c.GRPC, "127.0.0.1:9090")
	def(&c.HTTP, "127.0.0.1:8080")
	def(&c.Deadline, 30*time.Second)
	def(&c.Heartbeat, 15*time.Second)
	def(&c.Poll, time.Second)
	def(&c.Watchers, 256)
	def(&c.Drain, 10*time.Second)
	def(&c.MaxBody, 1<<20)
	def(&c.Rate, 50)
	if c.Log == nil {
		c.Log = slog.New(slog.NewJSONHandler(os.Stderr, nil))
	}
	if c.Now == nil {
		c.Now = time.Now
	}
	if build, ok := debug.ReadBuildInfo(); ok {
		def(&c.Version, build.Main.Version)
	}
	if c.Verifying == nil {
		c.Verifying = func() (done, all int64) { return 0, 0 }
	}
	if c.services == nil {
		c.services = RegisterServices
	}
	return c.checkTLS()
}

func def[T comparable](field *T, value T) {
	if *field == *new(T) {
		*field = value
	}
}

// Server is a server that has its addresses. Make one with New.
type Server struct {
	cfg    Config
	vitals *vitals
	hub    *hub
	grpc   *grpc.Server
	http   *http.Server
	inside *grpc.ClientConn

	drainInside func() // waits for the calls that the gateway makes without it; nil when it makes none

	admission *admission
	site      *routes
	cert      *keyPair // nil: no TLS

	onGRPC, onHTTP net.Listener
	onInside       *bufconn.Listener
	drain          context.CancelFunc // ends every stream
}

// New takes the addresses and builds the server; Run serves. When it fails it
// holds nothing, and the store is still open.
func New(cfg Config) (*Server, error) {
	if err := cfg.fill(); err != nil {
		return nil, err
	}
	s := &Server{cfg: cfg, vitals: newVitals(cfg.Log), onInside: bufconn.Listen(1 << 20)}
	var err error
	if s.onGRPC, err = net.Listen("tcp", cfg.GRPC); err != nil {
		return nil, fmt.Errorf("the address for gRPC: %w", err)
	}
	if s.onHTTP, err = net.Listen("tcp", cfg.HTTP); err != nil {
		return nil, errors.Join(fmt.Errorf("the address for HTTP: %w", err), s.onGRPC.Close())
	}
	if err := s.build(); err != nil {
		return nil, errors.Join(err, s.onGRPC.Close(), s.onHTTP.Close())
	}
	return s, nil
}

func (s *Server) build() error {
	draining, drain := context.WithCancel(context.Background())
	s.drain = drain
	s.admission = &admission{closed: s.beyond(), secure: s.cfg.CertFile != "" || s.cfg.BehindProxy}
	if s.admission.closed {
		s.admission.limits = newLimits(s.cfg.Rate)
	}
	var err error
	var outside []grpc.ServerOption
	if s.cfg.Traces != nil {
		outside = append(outside, grpc.StatsHandler(s.cfg.Traces))
	}
	if s.cfg.CertFile != "" {
		if s.cert, err = newKeyPair(s.cfg.CertFile, s.cfg.KeyFile, s.cfg.Log); err != nil {
			return err
		}
		outside = append(outside, grpc.Creds(outsideTLS{credentials.NewTLS(s.cert.config("h2"))}))
	}
	counted, err := newMetrics(s.cfg.Metrics, s.Why)
	if err != nil {
		return err
	}
	around, err := newCalls(draining, s.cfg.Log, s.cfg.Deadline, s.admission, counted)
	if err != nil {
		return err
	}
	s.hub = newHub(s.cfg.Poll, s.cfg.Heartbeat, s.cfg.Watchers)
	var door *signin.Door
	store := watchedStore{Store: s.cfg.Store, people: func() { door.Changed() }, wrote: func(shop string, err error) {
		s.vitals.wrote(err)
		counted.wrote(err)
		if err == nil {
			s.hub.wake(shop)
		}
	}}
	known := newBooks(store, s.cfg.Now)
	door = signin.New(store, s.cfg.Now, s.cfg.Log)
	s.admission.door = door
	if err := s.refuseOpen(context.Background(), door); err != nil {
		return err
	}
	s.grpc = grpc.NewServer(append(outside,
		grpc.ChainUnaryInterceptor(around.unary),
		grpc.ChainStreamInterceptor(around.stream),
		grpc.ForceServerCodecV2(around.codec),
		grpc.UnknownServiceHandler(unknownMethod),
		grpc.MaxRecvMsgSize(maxMessage),
		grpc.MaxConcurrentStreams(maxStreams),
		grpc.NumStreamWorkers(callWorkers),
		grpc.ConnectionTimeout(headerTime),
		grpc.KeepaliveEnforcementPolicy(keepalive.EnforcementPolicy{MinTime: clientPings, PermitWithoutStream: true}),
		grpc.KeepaliveParams(keepalive.ServerParameters{Time: pingAfter, Timeout: pingTimeout}),
	)...)
	reg := registrar{s.grpc, around, map[string]method{}}
	s.cfg.services(reg, Deps{Books: s.admission.books(known.book), Shops: s.admission.shops(store.Shops), Follow: s.hub.follow, Backup: s.cfg.Backup, Door: door, URL: s.URL()})
	healthpb.RegisterHealthServer(reg, s.vitals)
	s.vitals.serve(s.grpc.GetServiceInfo())
	if !s.cfg.NoReflection {
		reflection.Register(reg)
	}
	counted.know(s.grpc.GetServiceInfo())
	for service, info := range s.grpc.GetServiceInfo() {
		for _, m := range info.Methods {
			if _, ruled := methodRules["/"+service+"/"+m.Name]; !ruled {
				return fmt.Errorf("no rule in rules.go says who may call %s/%s", service, m.Name)
			}
		}
	}
	s.inside, err = grpc.NewClient("passthrough:///inside",
		grpc.WithContextDialer(func(ctx context.Context, _ string) (net.Conn, error) { return s.onInside.DialContext(ctx) }),
		grpc.WithTransportCredentials(insecure.NewCredentials()), // within the process
		grpc.WithDefaultCallOptions(grpc.MaxCallRecvMsgSize(64<<20)))
	if err != nil {
		return err
	}
	var short grpc.ClientConnInterface = s.inside
	if s.cfg.Traces == nil { // which are told of what comes over a connection
		direct := &inside{s.inside, reg.methods, around.unary, s.onInside.Addr(), make(chan struct{}, maxStreams)}
		short, s.drainInside = direct, direct.drain
	}
	gateway, err := newGateway(context.Background(), short)
	if err != nil {
		return err
	}
	pages, err := web.New(s.inside, web.Config{Now: s.cfg.Now, Log: s.cfg.Log, Door: door, Closed: s.admission.closed, Secure: s.admission.secure, Address: s.address, Trust: s.trust(), May: s.admission.wouldMay, TakesBack: s.admission.wouldTakeBack, Verifying: s.cfg.Verifying})
	if err != nil {
		return err
	}
	s.site, err = newSite(s.cfg, s.vitals, s.admission, pages, gateway)
	if err != nil {
		return err
	}
	s.http = &http.Server{
		Handler:           newGuard(s.cfg.Log, s.admission.known(s.site.mux), s.cfg.Hosts, isLoopback(s.onHTTP.Addr()), s.cfg.MaxBody),
		ReadHeaderTimeout: headerTime,
		IdleTimeout:       idleTime,
		MaxHeaderBytes:    maxHeaderBytes,
		ErrorLog:          slog.NewLogLogger(s.cfg.Log.Handler(), slog.LevelWarn),
	}
	if s.cert != nil {
		s.http.TLSConfig = s.cert.config("h2", "http/1.1")
	}
	return nil
}

// GRPCAddr is the address that gRPC is served on, as host:port.
func (s *Server) GRPCAddr() string { return s.onGRPC.Addr().String() }

// HTTPAddr is the address that REST and the page are served on, as host:port.
func (s *Server) HTTPAddr() string { return s.onHTTP.Addr().String() }

// Why says why the server does not take writes; "" when it does.
func (s *Server) Why() string { return s.vitals.ready() }

// Ready is what a server says that is ready, as at /readyz.
func (s *Server) Ready() string { return readyWords(s.cfg.Verifying) }

// Run serves until ctx is done or a listener fails, then stops in order and
// closes the store. It returns nil when it was asked to stop and could. It can
// run once; call it also when ctx is done already, to give everything back.
func (s *Server) Run(ctx context.Context) error {
	s.cfg.Log.Info("serving", "grpc", s.GRPCAddr(), "http", s.HTTPAddr(), "version", s.cfg.Version)
	failed := make(chan error, 3)
	go func() { failed <- s.grpc.Serve(s.onGRPC) }()
	go func() { failed <- s.grpc.Serve(s.onInside) }()
	go func() {
		if s.cert != nil {
			failed <- s.http.ServeTLS(s.onHTTP, "", "")
			return
		}
		failed <- s.http.Serve(s.onHTTP)
	}()
	beside, stopBeside := context.WithCancel(ctx)
	var ended sync.WaitGroup
	ended.Go(func() { s.vitals.watch(beside, s.cfg.Store, healthEvery) })
	wrong := make(chan error, 1)
	if s.cfg.Beside != nil {
		ended.Go(func() {
			if err := s.cfg.Beside(beside); err != nil {
				wrong <- err
			}
		})
	}

	var err error
	select {
	case <-ctx.Done():
	case err = <-wrong:
	case err = <-failed:
		err = fmt.Errorf("serving ended: %w", err)
	}
	s.cfg.Log.Info("stopping")
	stopBeside()
	ended.Wait()
	select {
	case late := <-wrong: // that it was told to stop is none, that the book is damaged is one all the same
		if errors.Is(late, ledger.ErrCorrupt) {
			err = errors.Join(err, late)
		}
	default:
	}
	return errors.Join(err, s.stop(), s.cfg.Store.Close())
}

// stop ends the serving: health first, so that nobody new is sent here, then the
// streams, which would never end by themselves, then the calls, in their own time
// but no longer than Config.Drain.
func (s *Server) stop() error {
	s.vitals.drain()
	errListen := s.onGRPC.Close()
	time.Sleep(lastWord)
	s.drain()
	ctx, cancel := context.WithTimeout(context.Background(), s.cfg.Drain)
	defer cancel()
	errHTTP := s.http.Shutdown(ctx)
	if errHTTP != nil {
		errHTTP = errors.Join(fmt.Errorf("HTTP requests were cut off: %w", errHTTP), s.http.Close())
	}
	done := make(chan struct{})
	go func() { defer close(done); s.grpc.GracefulStop() }()
	var errGRPC error
	select {
	case <-done:
	case <-ctx.Done():
		errGRPC = fmt.Errorf("gRPC calls were cut off after %s", s.cfg.Drain)
		s.grpc.Stop()
		<-done
	}
	if s.drainInside != nil {
		s.drainInside()
	}
	return errors.Join(errListen, errHTTP, errGRPC, s.inside.Close(), ignoreClosed(s.onInside.Close()))
}

func ignoreClosed(err error) error {
	if err != nil && err.Error() == "closed" { // bufconn's, which has no name
		return nil
	}
	return err
}

func isLoopback(a net.Addr) bool {
	tcp, ok := a.(*net.TCPAddr)
	return ok && tcp.IP.IsLoopback()
}

// unknownMethod answers calls of methods that are not there.
func unknownMethod(_ any, ss grpc.ServerStream) error {
	method, _ := grpc.MethodFromServerStream(ss)
	return newStatus(codes.Unimplemented, "NO_SUCH_METHOD", "there is no method "+clip(method), map[string]string{"method": clip(method)}).Err()
}

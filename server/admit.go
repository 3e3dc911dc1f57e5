package server

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"strings"
	"sync"
	"time"

	xrate "golang.org/x/time/rate"
	"google.golang.org/grpc/metadata"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/shop"
	"example.org/remelt/server/signin"
)

// admission decides who may do what: by the rule of each method and page, and by
// shop wherever a book is opened. It is the one place that does.
type admission struct {
	door   *signin.Door
	closed bool    // everybody must sign in: the server is reached from beyond this machine
	secure bool    // browsers come over TLS
	limits *limits // nil: none
}

// bearer is the metadata key and the header under which a credential comes.
const bearer = "authorization"

// admit lets a call of a method in, and tells those behind who calls.
func (a *admission) admit(ctx context.Context, method string) (context.Context, error) {
	least, known := methodRules[method]
	if !known { // no such method: a server with one that has no rule does not start
		least = ledger.MayManage
	}
	caller, signedIn, err := a.caller(ctx)
	if err != nil && least != anyone {
		return ctx, err
	}
	who := "address " + hostOf(peerOf(ctx))
	if signedIn {
		who = "person " + caller.Shop + "/" + caller.Person
		ctx = signin.With(ctx, caller)
	}
	if least == anyone {
		return ctx, nil
	}
	if err := a.limits.take(who); err != nil {
		return ctx, err
	}
	return ctx, a.may(caller, signedIn, least)
}

// caller is who sent the credential of a call, if one was sent.
func (a *admission) caller(ctx context.Context) (signin.Caller, bool, error) {
	sent := metadata.ValueFromIncomingContext(ctx, bearer)
	if len(sent) == 0 {
		return signin.Caller{}, false, nil
	}
	scheme, credential, _ := strings.Cut(sent[0], " ")
	if len(sent) > 1 || !strings.EqualFold(scheme, "Bearer") {
		return signin.Caller{}, false, &ledger.Error{Class: ledger.ErrSignIn, Reason: "BAD_CREDENTIAL", Field: bearer, Want: "must be one Bearer and a token"}
	}
	c, err := a.door.Identify(ctx, credential)
	return c, err == nil, err
}

// may holds somebody, or nobody, against a rule.
func (a *admission) may(c signin.Caller, signedIn bool, least ledger.Duty) error {
	switch {
	case least == anyone:
		return nil
	case !signedIn && a.closed:
		return errSignIn
	case signedIn && !c.Duty.Covers(least):
		return &ledger.Error{Class: ledger.ErrDenied, Reason: "NOT_ALLOWED", Field: "duty", Value: string(c.Duty),
			Want: fmt.Sprintf("this needs %s; ask who manages the shop", least)}
	}
	return nil // who has not signed in meets enter
}

// wouldMay says whether somebody, or nobody where nobody signs in, would be let in to a
// method of the API, said as HeatService/SkimHeat, or to what is served beside it, by
// its pattern. Pages ask before they offer a button.
func (a *admission) wouldMay(c *signin.Caller, what string) (allowed, known bool) {
	least, known := routeRules[what]
	if !known {
		least, known = methodRules["/remelt.v1."+what]
	}
	if c == nil {
		c = &signin.Caller{}
	}
	return known && a.may(*c, c.Person != "", least) == nil, known
}

var errSignIn = &ledger.Error{Class: ledger.ErrSignIn, Reason: "SIGN_IN_NEEDED",
	Want: "sign in first; a program sends a token (REMELT_TOKEN, or Authorization: Bearer)"}

// enter lets a call into a shop's book. To somebody of another shop this one is
// not there.
func (a *admission) enter(ctx context.Context, id string) error {
	if c, signedIn := signin.From(ctx); signedIn {
		if c.Shop != id {
			return errNoShop(id)
		}
		return nil
	}
	if a.closed {
		return errSignIn
	}
	has, err := a.door.HasPeople(ctx, id)
	if err == nil && has {
		return errSignIn
	}
	return err
}

func errNoShop(id string) error {
	return &ledger.Error{Class: ledger.ErrNotFound, Reason: "NO_SUCH_SHOP", Field: "shop", Value: id,
		Want: "no book of this shop; open one first"}
}

// books opens only what a call may enter.
func (a *admission) books(open func(context.Context, string) (*shop.Shop, error)) func(context.Context, string) (*shop.Shop, error) {
	return func(ctx context.Context, id string) (*shop.Shop, error) {
		if err := a.enter(ctx, id); err != nil {
			return nil, err
		}
		return open(ctx, id)
	}
}

// shops lists only what a call may enter; to nobody for whom there is nothing it
// says that signing in would help.
func (a *admission) shops(list func(context.Context) ([]string, error)) func(context.Context) ([]string, error) {
	return func(ctx context.Context) (mine []string, err error) {
		all, err := list(ctx)
		if err != nil {
			return nil, err
		}
		for _, id := range all {
			refused := a.enter(ctx, id)
			if refused == nil {
				mine = append(mine, id)
			} else if !errors.Is(refused, ledger.ErrNotFound) {
				err = refused
			}
		}
		if len(mine) > 0 {
			err = nil
		}
		return mine, err
	}
}

// known finds out who sends a request, by the cookie of a browser or the header
// of a program, and hands the credential on to the calls that the request makes.
// A cookie that is no longer good is as none.
func (a *admission) known(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		ctx := r.Context()
		if r.Header.Get(bearer) == "" {
			cookie, err := r.Cookie(signin.CookieName(a.secure))
			if err != nil {
				next.ServeHTTP(w, r)
				return
			}
			if _, err := a.door.Identify(ctx, cookie.Value); errors.Is(err, ledger.ErrSignIn) {
				http.SetCookie(w, signin.NoCookie(a.secure))
				next.ServeHTTP(w, r)
				return
			}
			r.Header.Set(bearer, "Bearer "+cookie.Value)
		}
		credential := r.Header.Get(bearer)
		ctx = metadata.AppendToOutgoingContext(ctx, bearer, credential)
		if c, signedIn, err := a.caller(metadata.NewIncomingContext(ctx, metadata.Pairs(bearer, credential))); err == nil && signedIn {
			ctx = signin.With(ctx, c)
		}
		next.ServeHTTP(w, r.WithContext(ctx))
	})
}

// page lets a request for a page in by the rule of its route.
func (a *admission) page(least ledger.Duty, next http.Handler, refuse func(http.ResponseWriter, *http.Request, error)) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		c, signedIn := signin.From(r.Context())
		err := a.may(c, signedIn, least)
		if id := r.PathValue("shop"); err == nil && id != "" && least != anyone {
			err = a.enter(r.Context(), id)
		}
		if err != nil {
			refuse(w, r, err)
			return
		}
		next.ServeHTTP(w, r)
	})
}

// limits bounds how often each caller calls.
type limits struct {
	perSecond xrate.Limit
	burst     int
	now       func() time.Time
	mu        sync.Mutex
	all       map[string]*xrate.Limiter
}

func newLimits(perSecond float64) *limits {
	return &limits{perSecond: xrate.Limit(perSecond), burst: int(6 * perSecond), now: time.Now, all: map[string]*xrate.Limiter{}}
}

// mostLimited bounds what is remembered: addresses come from outside. Those that
// are forgotten begin anew, with no more than a burst.
const mostLimited = 10_000

func (l *limits) take(who string) error {
	if l == nil {
		return nil
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	own := l.all[who]
	if own == nil {
		if len(l.all) >= mostLimited {
			clear(l.all)
		}
		own = xrate.NewLimiter(l.perSecond, l.burst)
		l.all[who] = own
	}
	if !own.AllowN(l.now(), 1) {
		return &ledger.Error{Class: ledger.ErrTooMany, Reason: "RATE_LIMITED", After: time.Second,
			Want: fmt.Sprintf("at most %g calls a second; wait a moment and send it again", float64(l.perSecond))}
	}
	return nil
}

package web

import (
	"net/http"
	"strconv"

	"github.com/grpc-ecosystem/grpc-gateway/v2/runtime"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
)

// refused is what the page of an error shows.
type refused struct {
	Code    int
	Message string
	Reason  string // the same machine-readable reason as over gRPC and REST
	Field   string
}

// fail answers with a page that says what was wrong.
func (p *Pages) fail(w http.ResponseWriter, r *http.Request, v *visit, err error) {
	st := status.Convert(err)
	if st.Code() == codes.Unauthenticated {
		p.toSignIn(w, r)
		return
	}
	f := refused{Code: runtime.HTTPStatusFromCode(st.Code()), Message: st.Message()}
	for _, d := range st.Details() {
		switch d := d.(type) {
		case *errdetails.ErrorInfo:
			f.Reason = d.GetReason()
		case *errdetails.BadRequest:
			if len(d.GetFieldViolations()) > 0 {
				f.Field = d.GetFieldViolations()[0].GetField()
			}
		}
	}
	if f.Code >= http.StatusInternalServerError {
		p.cfg.Log.ErrorContext(r.Context(), "page failed", "path", r.URL.Path, "code", st.Code().String())
	}
	title := "This could not be shown"
	if st.Code() == codes.NotFound {
		title = "There is nothing of this name"
	}
	if st.Code() == codes.PermissionDenied {
		title = "You may not do this"
	}
	p.write(w, f.Code, "refused.html", frame{Title: title, Visit: v, Main: f})
}

// badUnit is the refusal of a unit that the address asks for.
func badUnit(asked string) error {
	return refuse(codes.InvalidArgument, "UNKNOWN_UNIT", "unit", asked+" is not a unit of mass; must be one such as kg or lb")
}

// noPage is the refusal of an address that leads nowhere.
func noPage(asked string) error {
	return refuse(codes.NotFound, "NO_SUCH_PAGE", "page", "there is no page "+strconv.Quote(asked))
}

// refuse is what a page refuses by itself, as the API would.
func refuse(code codes.Code, reason, field, why string) error {
	st, err := status.New(code, field+": "+why).WithDetails(&errdetails.ErrorInfo{Reason: reason, Domain: "remelt"},
		&errdetails.BadRequest{FieldViolations: []*errdetails.BadRequest_FieldViolation{{Field: field, Reason: reason}}})
	if err != nil {
		return err
	}
	return st.Err()
}

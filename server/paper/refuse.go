package paper

import (
	"fmt"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
)

// refuse is a refusal with the same details as those of the API.
func refuse(reason, field, value, want string) error {
	value = cut(value, 100)
	st, err := status.New(codes.InvalidArgument, fmt.Sprintf("%s: %q: %s", field, value, want)).
		WithDetails(&errdetails.ErrorInfo{Reason: reason, Domain: "remelt", Metadata: map[string]string{"class": "invalid", "field": field, "value": value, "want": want}},
			&errdetails.BadRequest{FieldViolations: []*errdetails.BadRequest_FieldViolation{{Field: field, Reason: reason, Description: want}}})
	if err != nil {
		return err
	}
	return st.Err()
}

// cut is the beginning of a text, with an ellipsis where more would follow.
func cut(text string, runes int) string {
	n := 0
	for i := range text {
		if n++; n > runes {
			return text[:i] + "…"
		}
	}
	return text
}

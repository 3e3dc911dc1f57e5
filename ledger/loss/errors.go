package loss

import (
	"errors"
	"fmt"
	"math"
)

var (
	// ErrInvalid is behind every refusal of an input; the error itself is a *FieldError.
	ErrInvalid = errors.New("loss: invalid input")
	// ErrSingular says that the data and the beliefs together do not determine the answer.
	ErrSingular = errors.New("loss: not determined")
)

// A FieldError names what was refused, its value, and what would be right.
type FieldError struct {
	Heat  string // the heat's ID, where it is about one
	Field string
	Value string
	Want  string
}

func (e *FieldError) Error() string {
	if e.Heat != "" {
		return fmt.Sprintf("loss: heat %s: %s is %s, want %s", e.Heat, e.Field, e.Value, e.Want)
	}
	return fmt.Sprintf("loss: %s is %s, want %s", e.Field, e.Value, e.Want)
}

// Is makes errors.Is(err, ErrInvalid) true.
func (e *FieldError) Is(target error) bool { return target == ErrInvalid }

func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }

func format(x float64) string { return fmt.Sprintf("%g", x) }

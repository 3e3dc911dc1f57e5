package balance

import (
	"errors"
	"fmt"
	"strings"
)

var (
	// ErrInvalid is wrapped by every error about the caller's data.
	ErrInvalid = errors.New("balance: invalid input")
	// ErrConditioning says that uncertainties in one network differ by so much
	// that the result would not close its balances. Treat the least sure streams
	// as unmeasured.
	ErrConditioning = errors.New("balance: uncertainties too far apart to solve")
)

// InputError names what is wrong with the caller's data and what would be right.
// It matches ErrInvalid.
type InputError struct {
	Field string // for example "streams[cups 41].u"
	Value any
	Want  string
}

func (e *InputError) Error() string {
	return fmt.Sprintf("balance: %s is %v, want %s", e.Field, e.Value, e.Want)
}

// Is makes errors.Is(err, ErrInvalid) true.
func (e *InputError) Is(target error) bool { return target == ErrInvalid }

// ContradictionError says that values given as exact cannot all be true: the
// named balances together miss by Off. It matches ErrInvalid.
type ContradictionError struct {
	Rows []string // nodes and constraints that were added up
	Off  float64  // in the unit of the network
}

func (e *ContradictionError) Error() string {
	return fmt.Sprintf("balance: exact values contradict each other: %s together miss by %g, want 0",
		strings.Join(e.Rows, ", "), e.Off)
}

// Is makes errors.Is(err, ErrInvalid) true.
func (e *ContradictionError) Is(target error) bool { return target == ErrInvalid }

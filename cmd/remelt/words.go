package main

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/reflect/protoreflect"

	pb "example.org/remelt/api/remelt/v1"
)

// word is an enum's value as people write it: FORM_SCRAP_CASTING is
// "scrap-casting". "" for the unspecified value.
func word(e protoreflect.Enum) string {
	if e.Number() == 0 {
		return ""
	}
	v := e.Descriptor().Values().ByNumber(e.Number())
	if v == nil {
		return strconv.Itoa(int(e.Number()))
	}
	unspecified := string(e.Descriptor().Values().ByNumber(0).Name())
	prefix := strings.TrimSuffix(unspecified, "UNSPECIFIED")
	return strings.ToLower(strings.ReplaceAll(strings.TrimPrefix(string(v.Name()), prefix), "_", "-"))
}

// enum is a generated enum.
type enum interface {
	~int32
	protoreflect.Enum
}

// words are all values of an enum as people write them.
func words[E enum]() []string {
	var e E
	var out []string
	values := e.Descriptor().Values()
	for i := range values.Len() {
		if n := values.Get(i).Number(); n != 0 {
			out = append(out, word(E(n)))
		}
	}
	return out
}

// readWord reads an enum's value; "" is the unspecified one.
func readWord[E enum](what, typed string) (E, error) {
	var e E
	if typed == "" {
		return e, nil
	}
	plain := strings.ReplaceAll(strings.ToLower(strings.TrimSpace(typed)), "_", "-")
	values := e.Descriptor().Values()
	for i := range values.Len() {
		if v := E(values.Get(i).Number()); v != 0 && word(v) == plain {
			return v, nil
		}
	}
	return e, usagef("%s %q: must be one of %s", what, typed, strings.Join(words[E](), ", "))
}

// mass is a weight as typed, for the server to read; nil for "".
func mass(typed string) *pb.Mass {
	if strings.TrimSpace(typed) == "" {
		return nil
	}
	return &pb.Mass{Text: strings.TrimSpace(typed)}
}

// readPieces takes a count at the end of a text off: "18.2 kg 2 pcs" is 18.2 kg
// and 2. The count is 0 when there is none.
func readPieces(typed string) (rest string, pieces int64, err error) {
	fields := strings.Fields(typed)
	n := len(fields)
	if n < 2 || !slices.Contains([]string{"pc", "pcs", "piece", "pieces"}, strings.ToLower(fields[n-1])) {
		return strings.TrimSpace(typed), 0, nil
	}
	pieces, err = strconv.ParseInt(fields[n-2], 10, 64)
	if err != nil || pieces < 1 {
		return "", 0, usagef("%q: must be a number of pieces such as \"2 pcs\"", typed)
	}
	return strings.Join(fields[:n-2], " "), pieces, nil
}

// readAmount reads a supply's amount: a weight, or a number of pieces.
func readAmount(words []string) (m *pb.Mass, pieces int64, err error) {
	rest, pieces, err := readPieces(strings.Join(words, " "))
	return mass(rest), pieces, err
}

// readShares reads heats with or without their shares: "41", "41=60".
func readShares(parent string, typed []string) ([]*pb.HeatShare, error) {
	var out []*pb.HeatShare
	for _, t := range typed {
		heat, share, given := strings.Cut(t, "=")
		if heat == "" || given && share == "" {
			return nil, usagef("heat %q: must be a heat such as 41, or one with its share such as 41=60", t)
		}
		out = append(out, &pb.HeatShare{Heat: named(parent, "heats", heat), SharePercent: share})
	}
	return out, nil
}

// readElements reads contents as typed: "Cu=95.8 Si=3.9±0.1".
func readElements(typed []string) ([]*pb.Element, error) {
	var out []*pb.Element
	for _, t := range strings.FieldsFunc(strings.Join(typed, " "), func(r rune) bool { return r == ' ' || r == ';' }) {
		symbol, percent, found := strings.Cut(t, "=")
		percent, sd, _ := strings.Cut(strings.Replace(percent, "+-", "±", 1), "±")
		if !found || symbol == "" || percent == "" {
			return nil, usagef("--analysis %q: must be elements with their per cent such as \"Cu=95.8 Si=3.9±0.1\"", t)
		}
		out = append(out, &pb.Element{Symbol: symbol, Percent: percent, SdPercent: sd})
	}
	return out, nil
}

// certificateFlags are those of a certificate of analysis.
type certificateFlags struct {
	number, method string
	elements       []string
}

func addCertificateFlags(c *cobra.Command) *certificateFlags {
	v := &certificateFlags{}
	c.Flags().StringVar(&v.number, "certificate", "", "number of its certificate of analysis")
	c.Flags().StringArrayVar(&v.elements, "analysis", nil, "what is in it, in per cent, such as \"Cu=95.8 Si=3.9±0.1\"")
	c.Flags().StringVar(&v.method, "method", "", "how that was found: certificate, xrf, spark, wet, or other words")
	noFiles(c, "certificate", "analysis", "method")
	return v
}

func (v *certificateFlags) read() (*pb.Certificate, error) {
	elements, err := readElements(v.elements)
	if err != nil || v.number == "" && v.method == "" && len(elements) == 0 {
		return nil, err
	}
	return &pb.Certificate{Number: v.number, Method: v.method, Elements: elements}, nil
}

// plural writes a count with its noun.
func plural(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}

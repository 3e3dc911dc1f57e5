package paper

import (
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	pb "example.org/remelt/api/remelt/v1"
	"google.golang.org/protobuf/types/known/timestamppb"
)

// odd are texts that nobody expects on paper.
var odd = []string{strings.Repeat("x", 5000), strings.Repeat("heron panel ", 500), "🔥🦦 otter 熊", `<script>alert("x")</script>`, "a\nb\tc\x00d", "\u202egnp.exe", "\xff\xfe broken", "e\u0301clat", ""}

// Whatever a name is, it becomes characters that the font has, and a fitted one is
// never wider than its place.
func TestOddTextFits(t *testing.T) {
	s := newSheet(A4, odd[0], time.Unix(0, 0))
	s.page()
	for _, text := range odd {
		s.font(11, false)
		for _, w := range []float64{5, 40, 180} {
			got := s.fit(text, w)
			if !utf8.ValidString(got) || s.width(got) > w {
				t.Errorf("%.40q in %.0f mm: %.40q of %.1f mm", text, w, got, s.width(got))
			}
			for _, line := range s.wrap(text, w, 3) {
				if s.width(line) > w {
					t.Errorf("%.40q in %.0f mm: a line of %.1f mm", text, w, s.width(line))
				}
			}
			for _, r := range got {
				if !drawn()[r] {
					t.Errorf("%.40q: the font has no %q", text, r)
				}
			}
		}
	}
	if got := plain("🔥 otter\n熊"); got != "□ otter □" {
		t.Errorf("%q", got)
	}
	if got := plain(`<script>`); got != "<script>" {
		t.Errorf("%q", got)
	}
}

// A heat sheet of the oddest names is still drawn, on a few pages.
func TestOddHeatIsDrawn(t *testing.T) {
	j := &job{Shop: &pb.Shop{DisplayName: odd[0], TemperatureUnit: "C"}, unit: "kg", zone: time.UTC, stated: time.Unix(1_770_000_000, 0), size: A4}
	h := &heatSheet{job: j, heat: &pb.Heat{Name: "shops/x/heats/" + odd[0], Alloy: odd[2], Crucible: odd[1], Melter: odd[3], Note: odd[1], PlannedTime: timestamppb.New(j.stated)},
		plan: &pb.PlanChargeResponse{Charge: &pb.Mass{Mg: 1 << 62}, Deoxidiser: odd[0], Cautions: []*pb.Caution{{Code: "a", Text: odd[1], Because: odd[0]}}}}
	for i, text := range odd {
		h.plan.Takes = append(h.plan.Takes, &pb.ChargeTake{Lot: text, Place: text, Label: text, Mass: &pb.Mass{Mg: int64(i)}})
		h.plan.Pours = append(h.plan.Pours, &pb.PlannedPour{Mold: text, DisplayName: text, Mass: &pb.Mass{Mg: -1}})
	}
	d, err := j.print("odd", odd[0], func(s *sheet) { h.head(s); s.mind(h.cautions()); h.before(s) })
	if err != nil || d.Pages > 3 {
		t.Fatalf("%v, %+v pages", err, d)
	}
	s := newSheet(A4, "labels", j.stated)
	s.pdf.AddPage()
	for _, text := range odd {
		l := &pb.Lot{Name: "L1-9", Alloy: text, Label: text, HeldWhy: text, Condition: pb.Condition_CONDITION_HELD, Owner: text, Place: text}
		if err := s.label(j, l, "Mind: "+text+" "+comesFirst, 0, 0, 50, 25); err != nil {
			t.Error(err)
		}
	}
	if _, err := s.document("labels"); err != nil {
		t.Error(err)
	}
}

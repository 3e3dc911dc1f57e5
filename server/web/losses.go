package web

import (
	"fmt"
	"math"
	"strings"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/server/web/picture"
)

// lossesPage answers whether the shop loses more than it used to, and where.
type lossesPage struct {
	Losses *pb.Losses
	Chart  *picture.Chart
	Heats  []*pb.WatchedHeat // latest first
	Parts  []lossPart
	Levels []*pb.LossLevel
	Tally  *pb.CheckLossForecastsResponse
}

type lossPart struct {
	Name  string
	Model *pb.LossModel
}

func (p *Pages) losses(v *visit) (frame, error) {
	got, err := p.call.analysis.GetLosses(v.ctx, &pb.GetLossesRequest{Name: v.name("losses")})
	if err != nil {
		return frame{}, err
	}
	page := lossesPage{Losses: got.GetLosses(), Chart: lossChart(v, got.GetLosses().GetChart()), Levels: got.GetLosses().GetWhole().GetLevels()}
	for _, h := range page.Losses.GetChart().GetHeats() {
		page.Heats = append([]*pb.WatchedHeat{h}, page.Heats...)
	}
	for _, m := range page.Losses.GetParts() {
		page.Parts = append(page.Parts, lossPart{lossPath(m.GetPath()), m})
	}
	return frame{Title: "What is lost", Here: "losses", Main: page}, nil
}

// lossPath is a way of losing metal in the shop's words.
func lossPath(p pb.LossPath) string {
	return strings.ToLower(strings.TrimPrefix(p.String(), "LOSS_PATH_"))
}

// within90 is the half width of a 90 % interval in standard deviations.
const within90 = 1.645

// lossChart draws each heat's loss over the band that was forecast for it before it
// was poured.
func lossChart(v *visit, c *pb.LossChart) *picture.Chart {
	if len(c.GetHeats()) < 2 {
		return nil
	}
	out := &picture.Chart{ID: "losses-chart", Title: "What each heat lost, and what was expected of it", Unit: "% of the charge"}
	outside := 0
	for i, h := range c.GetHeats() {
		id, spread := last(h.GetHeat()), within90*c.GetSigma()*h.GetExpected().GetSdPercent()
		if c.GetSigma() == 0 {
			spread = within90 * h.GetExpected().GetSdPercent()
		}
		out.Places = append(out.Places, id)
		out.Low, out.High = append(out.Low, h.GetExpected().GetPercent()-spread), append(out.High, h.GetExpected().GetPercent()+spread)
		out.Line = append(out.Line, math.NaN())
		m := picture.Mark{At: i, Value: h.GetWeighed().GetPercent(), Out: h.GetOutside(), Words: id}
		if m.Out {
			outside++
		}
		out.Marks = append(out.Marks, m)
	}
	last := c.GetHeats()[len(c.GetHeats())-1]
	out.Words = fmt.Sprintf("%d heats in the order they were poured. Of the latest, poured %s, %.1f %% was lost and %.1f %% expected. %d stand out.",
		len(c.GetHeats()), v.Day(last.GetPourTime()), last.GetWeighed().GetPercent(), last.GetExpected().GetPercent(), outside)
	return out
}

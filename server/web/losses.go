package web

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/server/paper"
	"example.org/remelt/server/web/picture"
)

// lossesPage answers whether the shop loses more than it used to, and where.
type lossesPage struct {
	Losses *pb.Losses
	Chart  *picture.Chart
	Heats  []*pb.WatchedHeat // latest first
	Parts  []lossPart
	Levels []*pb.LossLevel
	Trend  *picture.Trend
	Months []month // latest first
	Went   string  // what the columns of the months are
}

// month is what became of the metal of the heats poured in a month.
type month struct {
	*pb.HeatGroup
	Name string
	Back *pb.Mass // returns and pigs
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
	page := lossesPage{Went: paper.WhereMetalWent, Losses: got.GetLosses(), Chart: lossChart(v, got.GetLosses().GetChart()), Levels: got.GetLosses().GetWhole().GetLevels()}
	for _, h := range page.Losses.GetChart().GetHeats() {
		page.Heats = append([]*pb.WatchedHeat{h}, page.Heats...)
	}
	for _, m := range page.Losses.GetParts() {
		page.Parts = append(page.Parts, lossPart{lossPath(m.GetPath()), m})
	}
	if err := p.months(v, &page); err != nil {
		return frame{}, err
	}
	return frame{Title: "What is lost", Here: "losses", Live: true, Main: page}, nil
}

// monthsBack is how far back the months go.
const monthsBack = 24

// months tells what became of the metal, month by month.
func (p *Pages) months(v *visit, page *lossesPage) error {
	year, now, _ := v.now.In(v.zone).Date()
	got, err := p.call.balances.GetPeriodBalance(v.ctx, &pb.GetPeriodBalanceRequest{Name: v.name("periodBalance"), GroupBy: pb.Grouping_GROUPING_MONTH,
		StartTime: timestamppb.New(time.Date(year, now-monthsBack+1, 1, 0, 0, 0, 0, v.zone)), EndTime: timestamppb.New(time.Date(year, now+1, 1, 0, 0, 0, 0, v.zone))})
	if err != nil {
		return err
	}
	groups := got.GetBalance().GetGroups()
	for _, g := range slices.Backward(groups) {
		t := g.GetTerms()
		page.Months = append(page.Months, month{g, monthName(g, "January 2006"), &pb.Mass{Mg: t.GetReturns().GetMg() + t.GetPigs().GetMg()}})
	}
	page.Trend = monthTrend(groups)
	return nil
}

func monthName(g *pb.HeatGroup, layout string) string {
	t, err := time.Parse("2006-01", g.GetMonth())
	if err != nil {
		return g.GetMonth()
	}
	return t.Format(layout)
}

// monthTrend draws what parts of the metal became castings, came back and were lost.
func monthTrend(groups []*pb.HeatGroup) *picture.Trend {
	if len(groups) < 2 {
		return nil
	}
	out := &picture.Trend{ID: "months", Title: "What became of the metal of each month's heats", Unit: "% of the metal in", Shares: []picture.Share{
		{Name: "castings"}, {Name: "returned"}, {Name: "gone"}}}
	open := 0
	for _, g := range groups {
		out.Places = append(out.Places, monthName(g, "Jan 06"))
		out.Open = append(out.Open, g.GetProvisional() > 0)
		if g.GetProvisional() > 0 {
			open++
		}
		for k, percent := range []string{g.GetTerms().GetYieldPercent(), g.GetTerms().GetReturnedPercent(), g.GetTerms().GetGonePercent()} {
			value, err := strconv.ParseFloat(percent, 64)
			if err != nil {
				value = math.NaN()
			}
			out.Shares[k].Values = append(out.Shares[k].Values, value)
		}
	}
	first, last := groups[0], groups[len(groups)-1]
	told := func(g *pb.HeatGroup) string {
		t := g.GetTerms()
		return fmt.Sprintf("%s %s %% became castings, %s %% came back as returns and pigs, %s %% was lost", monthName(g, "January 2006"), percent(t.GetYieldPercent()), percent(t.GetReturnedPercent()), percent(t.GetGonePercent()))
	}
	out.Words = fmt.Sprintf("%d months. In %s; in %s. Of %d months something is still to be weighed.", len(groups), told(first), told(last), open)
	return out
}

// lossPath is a way of losing metal in the shop's words.
func lossPath(p pb.LossPath) string {
	return strings.ToLower(strings.TrimPrefix(p.String(), "LOSS_PATH_"))
}

// within90 is the half width of a 90 % interval in standard deviations.
const within90 = 1.645

// forecast is the band of 90 % that was forecast for a heat before it was poured.
func forecast(c *pb.LossChart, h *pb.WatchedHeat) (low, high float64) {
	spread := within90 * h.GetExpected().GetSdPercent()
	if c.GetSigma() > 0 {
		spread *= c.GetSigma()
	}
	return h.GetExpected().GetPercent() - spread, h.GetExpected().GetPercent() + spread
}

// lossChart draws each heat's loss over the band that was forecast for it before it
// was poured.
func lossChart(v *visit, c *pb.LossChart) *picture.Chart {
	if len(c.GetHeats()) < 2 {
		return nil
	}
	out := &picture.Chart{ID: "losses-chart", Title: "What each heat lost, and what was expected of it", Unit: "% of the charge"}
	outside := 0
	for i, h := range c.GetHeats() {
		id := last(h.GetHeat())
		low, high := forecast(c, h)
		out.Places = append(out.Places, id)
		out.Low, out.High = append(out.Low, low), append(out.High, high)
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

package server

import (
	"fmt"
	"strings"

	"google.golang.org/protobuf/reflect/protoreflect"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger"
	"example.org/remelt/ledger/alloy"
	"example.org/remelt/ledger/balance"
	"example.org/remelt/ledger/charge"
	"example.org/remelt/ledger/loss"
	"example.org/remelt/ledger/shop"
)

// enum pairs the values of a protocol enum P with those of the domain D. The
// unspecified value stands for the domain's zero value.
type enum[P protoreflect.Enum, D comparable] map[D]P

// read turns a protocol value into the domain's. One that this server does not
// know is refused, never taken for another.
func (e enum[P, D]) read(d *desk, field string, p P) (v D) {
	if p.Number() == 0 {
		return v
	}
	for value, q := range e {
		if q.Number() == p.Number() {
			return value
		}
	}
	d.invalid("UNKNOWN_VALUE", field, fmt.Sprint(p.Number()), "must be one of "+e.names())
	return v
}

// show turns a domain value into the protocol's; unspecified when it has none.
func (e enum[P, D]) show(v D) P { return e[v] }

func (e enum[P, D]) names() string {
	var p P
	values := p.Descriptor().Values()
	var names []string
	for i := 1; i < values.Len(); i++ {
		names = append(names, string(values.Get(i).Name()))
	}
	return strings.Join(names, ", ")
}

var (
	limitStandings = enum[pb.LimitStanding, alloy.Verdict]{
		alloy.Inside: pb.LimitStanding_LIMIT_STANDING_INSIDE, alloy.MayBeOutside: pb.LimitStanding_LIMIT_STANDING_MAY_BE_OUTSIDE,
		alloy.Outside: pb.LimitStanding_LIMIT_STANDING_OUTSIDE,
	}
	bases = enum[pb.Basis, ledger.Basis]{
		ledger.Weighed: pb.Basis_BASIS_WEIGHED, ledger.Estimated: pb.Basis_BASIS_ESTIMATED,
		ledger.ByDifference: pb.Basis_BASIS_BY_DIFFERENCE,
	}
	forms = enum[pb.Form, ledger.Form]{
		ledger.Ingot: pb.Form_FORM_INGOT, ledger.Cup: pb.Form_FORM_CUP, ledger.Gating: pb.Form_FORM_GATING,
		ledger.Riser: pb.Form_FORM_RISER, ledger.Pig: pb.Form_FORM_PIG, ledger.ScrapCast: pb.Form_FORM_SCRAP_CASTING,
		ledger.BoughtScrap: pb.Form_FORM_BOUGHT_SCRAP, ledger.Grindings: pb.Form_FORM_GRINDINGS,
		ledger.Skimmings: pb.Form_FORM_SKIMMINGS, ledger.SpillForm: pb.Form_FORM_SPILL, ledger.Prills: pb.Form_FORM_PRILLS,
		ledger.UnknownForm: pb.Form_FORM_UNKNOWN,
	}
	conditions = enum[pb.Condition, ledger.Condition]{
		ledger.ToClean: pb.Condition_CONDITION_TO_BE_CLEANED, ledger.Clean: pb.Condition_CONDITION_CLEAN,
		ledger.SetApart: pb.Condition_CONDITION_HELD,
	}
	heatStates = enum[pb.Heat_State, ledger.HeatState]{
		ledger.Planned: pb.Heat_STATE_PLANNED, ledger.Melting: pb.Heat_STATE_MELTING, ledger.Late: pb.Heat_STATE_LATE,
		ledger.Settled: pb.Heat_STATE_SETTLED, ledger.Dropped: pb.Heat_STATE_DROPPED,
	}
	orderStates = enum[pb.PurchaseOrder_State, ledger.OrderState]{
		ledger.BeingWritten: pb.PurchaseOrder_STATE_BEING_WRITTEN, ledger.Ordered: pb.PurchaseOrder_STATE_ORDERED, ledger.SomeHere: pb.PurchaseOrder_STATE_SOME_HERE,
		ledger.AllHere: pb.PurchaseOrder_STATE_ALL_HERE, ledger.GivenUp: pb.PurchaseOrder_STATE_GIVEN_UP,
	}
	moldStates = enum[pb.Mold_State, ledger.MoldState]{
		ledger.MoldPlanned: pb.Mold_STATE_PLANNED, ledger.MoldPoured: pb.Mold_STATE_POURED, ledger.MoldShort: pb.Mold_STATE_SHORT,
		ledger.MoldLeaked: pb.Mold_STATE_LEAKED, ledger.MoldUnused: pb.Mold_STATE_UNUSED,
	}
	stages = enum[pb.Stage, ledger.Stage]{
		ledger.AsCast: pb.Stage_STAGE_AS_CAST, ledger.CutOff: pb.Stage_STAGE_CUT_OFF, ledger.Finished: pb.Stage_STAGE_FINISHED,
	}
	roles = enum[pb.Role, string]{
		ledger.RoleSupplier: pb.Role_ROLE_SUPPLIER, ledger.RoleCustomer: pb.Role_ROLE_CUSTOMER, ledger.RoleMelter: pb.Role_ROLE_MELTER,
	}
	potKinds = enum[pb.PotKind, string]{
		ledger.PotCrucible: pb.PotKind_POT_KIND_CRUCIBLE, ledger.PotFurnace: pb.PotKind_POT_KIND_FURNACE,
	}
	classes = enum[pb.AccuracyClass, string]{
		"I": pb.AccuracyClass_ACCURACY_CLASS_I, "II": pb.AccuracyClass_ACCURACY_CLASS_II,
		"III": pb.AccuracyClass_ACCURACY_CLASS_III, "IIII": pb.AccuracyClass_ACCURACY_CLASS_IIII,
		"III L": pb.AccuracyClass_ACCURACY_CLASS_III_L,
	}
	scaleRules = enum[pb.ScaleRule, string]{
		ledger.RuleOIML: pb.ScaleRule_SCALE_RULE_OIML_R76, ledger.RuleHB44: pb.ScaleRule_SCALE_RULE_NIST_HB44,
	}
	removals = enum[pb.Removal, string]{
		"sold": pb.Removal_REMOVAL_SOLD, "shipped": pb.Removal_REMOVAL_SHIPPED,
		"scrapped": pb.Removal_REMOVAL_SCRAPPED, "returned": pb.Removal_REMOVAL_RETURNED,
	}
	causes = enum[pb.LossCause, ledger.AccountKind]{
		ledger.Kerf: pb.LossCause_LOSS_CAUSE_KERF, ledger.Vapour: pb.LossCause_LOSS_CAUSE_VAPOUR,
		ledger.Oxide: pb.LossCause_LOSS_CAUSE_OXIDE, ledger.Spill: pb.LossCause_LOSS_CAUSE_SPILL,
	}
	views = enum[pb.EntryView, bool]{ // whether it is the full one
		false: pb.EntryView_ENTRY_VIEW_BASIC, true: pb.EntryView_ENTRY_VIEW_FULL,
	}
	costMethods = enum[pb.Costing_Method, string]{
		"by-lot": pb.Costing_METHOD_BY_LOT, "first-in": pb.Costing_METHOD_FIRST_IN,
		"moving-average": pb.Costing_METHOD_MOVING_AVERAGE, "month-average": pb.Costing_METHOD_MONTH_AVERAGE,
	}
	groupings = enum[pb.Grouping, shop.Grouping]{
		shop.ByAlloy: pb.Grouping_GROUPING_ALLOY, shop.ByCrucible: pb.Grouping_GROUPING_CRUCIBLE,
		shop.ByMelter: pb.Grouping_GROUPING_MELTER, shop.ByMonth: pb.Grouping_GROUPING_MONTH,
	}
	chargedTo = enum[pb.ChargedTo, shop.ChargedTo]{
		shop.ToCustomer: pb.ChargedTo_CHARGED_TO_CUSTOMER, shop.ToCommission: pb.ChargedTo_CHARGED_TO_COMMISSION,
	}
	weighingStatuses = enum[pb.WeighingStatus, balance.Status]{
		balance.Redundant: pb.WeighingStatus_WEIGHING_STATUS_REDUNDANT, balance.NonRedundant: pb.WeighingStatus_WEIGHING_STATUS_NON_REDUNDANT,
	}
	lossPaths = enum[pb.LossPath, loss.Cause]{
		loss.Oxidation: pb.LossPath_LOSS_PATH_OXIDATION, loss.Trapped: pb.LossPath_LOSS_PATH_TRAPPED, loss.Spill: pb.LossPath_LOSS_PATH_SPILL,
		loss.Kerf: pb.LossPath_LOSS_PATH_KERF, loss.Unaccounted: pb.LossPath_LOSS_PATH_UNACCOUNTED,
	}
	lossDirections = enum[pb.LossDirection, loss.Direction]{
		loss.Up: pb.LossDirection_LOSS_DIRECTION_UP, loss.Down: pb.LossDirection_LOSS_DIRECTION_DOWN,
	}
	chargeAims = enum[pb.ChargeAim, charge.Aim]{
		charge.LeastCost: pb.ChargeAim_CHARGE_AIM_LEAST_COST, charge.MostReturns: pb.ChargeAim_CHARGE_AIM_MOST_RETURNS,
	}
	spokenUses = enum[pb.SpokenUse, shop.Spoken]{
		shop.SpokenPreferred: pb.SpokenUse_SPOKEN_USE_PREFERRED, shop.SpokenMust: pb.SpokenUse_SPOKEN_USE_MUST, shop.SpokenIgnored: pb.SpokenUse_SPOKEN_USE_IGNORED,
	}
	feeds = enum[pb.Feed, charge.Feed]{
		charge.Bed: pb.Feed_FEED_BED, charge.OnTop: pb.Feed_FEED_ON_TOP, charge.AsItSinks: pb.Feed_FEED_AS_IT_SINKS,
		charge.AtTheEnd: pb.Feed_FEED_AT_THE_END,
	}
	provenances = enum[pb.Provenance, alloy.Flag]{
		alloy.Yes: pb.Provenance_PROVENANCE_PUBLISHED, alloy.Memory: pb.Provenance_PROVENANCE_MEMORY,
		alloy.Derived: pb.Provenance_PROVENANCE_DERIVED, alloy.Shop: pb.Provenance_PROVENANCE_SHOP,
	}
)

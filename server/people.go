package server

import (
	"cmp"
	"context"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger"
	"example.org/remelt/ledger/shop"
	"example.org/remelt/server/signin"
)

// people may sign in. What they sign in with is the door's.
type people struct {
	pb.UnimplementedPersonServiceServer
	counter
	door *signin.Door
	url  string
}

var duties = enum[pb.Duty, ledger.Duty]{
	ledger.MayRead: pb.Duty_DUTY_READ, ledger.MayWeighIn: pb.Duty_DUTY_WEIGH_IN,
	ledger.MayRun: pb.Duty_DUTY_RUN_HEATS, ledger.MayManage: pb.Duty_DUTY_MANAGE,
}

func (s people) GetPerson(ctx context.Context, r *pb.GetPersonRequest) (*pb.GetPersonResponse, error) {
	d, p := personSetting.get(ctx, s.counter, r.GetName())
	return reply(d, &pb.GetPersonResponse{Person: p})
}

func (s people) ListPeople(ctx context.Context, r *pb.ListPeopleRequest) (*pb.ListPeopleResponse, error) {
	d, all, next := personSetting.list(ctx, s.counter, r)
	return reply(d, &pb.ListPeopleResponse{People: all, NextPageToken: next})
}

func (s people) UpdatePerson(ctx context.Context, r *pb.UpdatePersonRequest) (*pb.UpdatePersonResponse, error) {
	d, p, e := personSetting.update(ctx, s.counter, r, r.GetPerson(), r.GetPerson().GetName(), r.GetAllowMissing())
	return reply(d, &pb.UpdatePersonResponse{Person: p, Entry: d.entry(e)})
}

var personSetting = setting[ledger.Person, ledger.Person, *pb.Person]{
	kind: ledger.RecPerson, collection: "people", field: "person", set: (*shop.Shop).SetPerson,
	key: func(v ledger.Person) string { return v.ID },
	show: func(d *desk, v ledger.Person, seq int64) *pb.Person {
		return &pb.Person{Name: d.name("people", v.ID), DisplayName: v.Name, Duty: duties.show(v.Duty), Disabled: v.Disabled,
			PasswordTime: moment(v.Password), Etag: etag(seq)}
	},
	read: func(d *desk, at string, p *pb.Person, id string) ledger.Person {
		return ledger.Person{ID: id, Name: p.GetDisplayName(), Duty: duties.read(d, sub(at, "duty"), p.GetDuty()), Disabled: p.GetDisabled()}
	},
}

func (s people) InvitePerson(ctx context.Context, r *pb.InvitePersonRequest) (*pb.InvitePersonResponse, error) {
	d := s.write(ctx, r, "name", r.GetName(), "shops/*/people/*")
	e := record(d, (*shop.Shop).Invite, d.id())
	c := secretly(d, func() (signin.Code, error) { return s.door.Invite(ctx, d.shopID(), d.id()) })
	return reply(d, &pb.InvitePersonResponse{Person: personSetting.now(d, d.id()), Entry: d.entry(e),
		Code: c.Code, Uri: s.url + c.Path, ExpireTime: moment(c.Expires)})
}

func (s people) PairDevice(ctx context.Context, r *pb.PairDeviceRequest) (*pb.PairDeviceResponse, error) {
	d := s.write(ctx, r, "name", r.GetName(), "shops/*/people/*")
	e := record(d, (*shop.Shop).AddToken, ledger.Token{Person: d.id(), Name: r.GetDisplayName(), Device: true,
		Duty: cmp.Or(duties.read(d, "duty", r.GetDuty()), ledger.MayWeighIn), Expires: d.time("expire_time", r.GetExpireTime())})
	t, _ := made[ledger.Token](d, e, ledger.RecToken)
	c := secretly(d, func() (signin.Code, error) { return s.door.Pair(ctx, d.shopID(), t.ID) })
	return reply(d, &pb.PairDeviceResponse{Token: d.token(t), Entry: d.entry(e), Code: c.Code, Uri: s.url + c.Path, CodeExpireTime: moment(c.Expires)})
}

func (s people) CreateToken(ctx context.Context, r *pb.CreateTokenRequest) (*pb.CreateTokenResponse, error) {
	d := s.write(ctx, r, "parent", r.GetParent(), "shops/*/people/*")
	d.at, d.inside = "token", r.GetToken().ProtoReflect().Descriptor()
	sent := r.GetToken()
	e := record(d, (*shop.Shop).AddToken, ledger.Token{Person: d.id(), Name: sent.GetDisplayName(),
		Duty: duties.read(d, "token.duty", sent.GetDuty()), Expires: d.time("token.expire_time", sent.GetExpireTime())})
	t, _ := made[ledger.Token](d, e, ledger.RecToken)
	out := d.token(t)
	secret := secretly(d, func() (string, error) { return s.door.KeepToken(ctx, d.shopID(), t.ID) })
	if out != nil {
		out.Secret = secret
	}
	return reply(d, &pb.CreateTokenResponse{Token: out, Entry: d.entry(e)})
}

// secretly makes what is shown once, after its entry: when a request comes again
// because its answer was lost, the entry is there and the secret is made anew.
func secretly[T any](d *desk, issue func() (T, error)) (v T) {
	if d.err != nil || d.meta.DryRun {
		return v
	}
	v, err := issue()
	d.fail(err)
	return v
}

func (d *desk) token(t ledger.Token) *pb.Token {
	if d.err != nil {
		return nil
	}
	return &pb.Token{Name: d.name("people", t.Person) + "/tokens/" + t.ID, DisplayName: t.Name, Duty: duties.show(t.Duty),
		ExpireTime: moment(t.Expires), Device: t.Device, Revoked: t.Revoked}
}

// tokenOf reads a token that a name stands for: one of that very person.
func (d *desk) tokenOf() ledger.Token {
	t := load[ledger.Token](d, ledger.RecToken, d.id()).Value
	if d.err == nil && t.Person != d.ids[1] {
		d.fail(&ledger.Error{Class: ledger.ErrNotFound, Reason: "NOT_FOUND", Field: "token", Value: d.id(), Want: "no token of this name in the book"})
	}
	return t
}

func (s people) GetToken(ctx context.Context, r *pb.GetTokenRequest) (*pb.GetTokenResponse, error) {
	d := s.read(ctx, "name", r.GetName(), "shops/*/people/*/tokens/*")
	return reply(d, &pb.GetTokenResponse{Token: d.token(d.tokenOf())})
}

func (s people) ListTokens(ctx context.Context, r *pb.ListTokensRequest) (*pb.ListTokensResponse, error) {
	d := s.read(ctx, "parent", r.GetParent(), "shops/*/people/*")
	load[ledger.Person](d, ledger.RecPerson, d.id()) // it must be there
	got, next := list[ledger.Token](d, r, ledger.RecToken, "person/"+d.id(), nil)
	return reply(d, &pb.ListTokensResponse{NextPageToken: next,
		Tokens: showAll(got, func(t ledger.Stamped[ledger.Token]) *pb.Token { return d.token(t.Value) })})
}

func (s people) RevokeToken(ctx context.Context, r *pb.RevokeTokenRequest) (*pb.RevokeTokenResponse, error) {
	d := s.write(ctx, r, "name", r.GetName(), "shops/*/people/*/tokens/*")
	d.tokenOf()
	e := record(d, (*shop.Shop).RevokeToken, d.id())
	return reply(d, &pb.RevokeTokenResponse{Token: d.token(d.tokenOf()), Entry: d.entry(e)})
}

package server

import (
	"context"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger/checkpoint"
)

func (s shops) GetCheckpoint(ctx context.Context, r *pb.GetCheckpointRequest) (*pb.GetCheckpointResponse, error) {
	d := s.read(ctx, "name", r.GetName(), "shops/*/checkpoint")
	if d.err != nil {
		return nil, d.err
	}
	c, err := checkpoint.At(ctx, d.Store, d.shopID(), r.GetEntries())
	if d.fail(err).err != nil {
		return nil, d.err
	}
	p := &pb.Checkpoint{Name: "shops/" + d.shopID() + "/checkpoint", Entries: c.Entries, HeadHash: c.Head.String()}
	for _, m := range c.Marks {
		p.Marks = append(p.Marks, &pb.CheckpointMark{Sequence: m.Entry, Hash: m.Hash.String()})
	}
	return reply(d, &pb.GetCheckpointResponse{Checkpoint: p})
}

package server

import (
	"slices"
	"strings"

	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/descriptorpb"
	"google.golang.org/protobuf/types/known/fieldmaskpb"
)

// merge changes onto, a resource as it is, by what a caller sent: the fields of
// the mask; without one, all that are set; with "*", all there are. A repeated
// field or a measure is replaced as a whole. What only the server writes is left
// alone, and a change of what cannot change is refused. field is where in the
// request the resource is.
func (d *desk) merge(field string, onto, sent proto.Message, mask *fieldmaskpb.FieldMask) {
	to, from := onto.ProtoReflect(), sent.ProtoReflect()
	fields := to.Descriptor().Fields()
	switch paths := mask.GetPaths(); {
	case len(paths) == 0:
		for i := range fields.Len() {
			if f := fields.Get(i); from.Has(f) {
				d.mergeField(field, to, from, f)
			}
		}
	case slices.Contains(paths, "*"):
		for i := range fields.Len() {
			d.mergeField(field, to, from, fields.Get(i))
		}
	default:
		for _, p := range paths {
			d.mergePath(field, to, from, p, p)
		}
	}
}

func (d *desk) mergePath(field string, to, from protoreflect.Message, path, whole string) {
	head, rest, deeper := strings.Cut(path, ".")
	f := to.Descriptor().Fields().ByName(protoreflect.Name(head))
	if f == nil {
		d.invalid("UNKNOWN_FIELD", "update_mask", whole, "must name fields of the "+field)
		return
	}
	switch {
	case !deeper:
	case f.Message() == nil || f.IsList() || f.IsMap(), measured(f.Message()) && f.Message().Fields().ByName(protoreflect.Name(rest)) == nil:
		d.invalid("UNKNOWN_FIELD", "update_mask", whole, "must name fields of the "+field+"; "+head+" is changed as a whole")
		return
	}
	if !deeper || measured(f.Message()) {
		d.mergeField(field, to, from, f)
		return
	}
	d.mergePath(sub(field, head), to.Mutable(f).Message(), from.Get(f).Message(), rest, whole)
}

// measured reports whether a message is one value written in parts, such as a
// mass: a part of it alone means nothing.
func measured(m protoreflect.MessageDescriptor) bool {
	switch m.Name() {
	case "Mass", "Volume", "Temperature", "Timestamp":
		return true
	}
	return false
}

func (d *desk) mergeField(field string, to, from protoreflect.Message, f protoreflect.FieldDescriptor) {
	switch name := string(f.Name()); {
	case behaves(f, annotations.FieldBehavior_OUTPUT_ONLY), behaves(f, annotations.FieldBehavior_IDENTIFIER), name == "etag":
	case behaves(f, annotations.FieldBehavior_IMMUTABLE):
		now, wish := to.Get(f).String(), from.Get(f).String()
		if from.Has(f) && last(now) != last(wish) {
			d.invalid("IMMUTABLE", sub(field, name), wish, "cannot be changed; it is "+now)
		}
	case from.Has(f):
		to.Set(f, from.Get(f))
	default:
		to.Clear(f)
	}
}

// last is the id at the end of a resource name, or an id alone.
func last(name string) string { return name[strings.LastIndexByte(name, '/')+1:] }

// behaves reports whether a field is annotated with a behavior.
func behaves(f protoreflect.FieldDescriptor, b annotations.FieldBehavior) bool {
	opts, ok := f.Options().(*descriptorpb.FieldOptions)
	if !ok {
		return false
	}
	all, _ := proto.GetExtension(opts, annotations.E_FieldBehavior).([]annotations.FieldBehavior)
	return slices.Contains(all, b)
}

package bus

import (
	"regexp"
	"slices"
	"strings"

	"plumbhook/fault"
)

// The engine speaks subjects, its levels parted by dots; MQTT speaks topics,
// parted by slashes. An empty level of a topic is a lone slash in the subject,
// and a dot inside a level is two.

func subjectOf(topic string) (string, error) {
	if topic == "" || strings.ContainsAny(topic, " \t\r\n\f\x7f*>+#") {
		return "", fault.New(fault.Syntax, "the message server carries no topic like %q", topic).
			Fix("a topic is not empty and holds no space and none of + # * >")
	}
	levels := strings.Split(topic, "/")
	for i, l := range levels {
		if l == "" {
			levels[i] = "/"
		} else {
			levels[i] = strings.ReplaceAll(l, ".", "//")
		}
	}
	return strings.Join(levels, "."), nil
}

func topicOf(subject string) string {
	levels := strings.Split(subject, ".")
	for i, l := range levels {
		if l == "/" {
			levels[i] = ""
		} else {
			levels[i] = strings.ReplaceAll(l, "//", ".")
		}
	}
	return strings.Join(levels, "/")
}

// Topics of readings: tele/GATEWAY/... holds whatever the gateway likes to
// send; the other is Sparkplug B, spBv1.0/GROUP/TYPE/GATEWAY[/DEVICE].
const (
	tele      = "tele"
	sparkplug = "spBv1.0"
)

// The message types of Sparkplug B by whom they concern. Readings come from
// nodes and devices; commands go to them.
var (
	nodeReadings   = []string{"NBIRTH", "NDATA", "NDEATH"}
	deviceReadings = []string{"DBIRTH", "DDATA", "DDEATH"}
)

// gatewayOf is the gateway whose topic it is, or empty. The server lets each
// gateway publish below its own name only, so the topic can be believed.
func gatewayOf(topic string) string {
	levels := strings.SplitN(topic, "/", 5)
	switch {
	case levels[0] == tele && len(levels) > 1:
		return levels[1]
	case levels[0] == sparkplug && len(levels) > 3:
		return levels[3]
	}
	return ""
}

// mayPublish tells of a topic what rights tells of subjects.
func mayPublish(gateway, topic string) bool {
	levels := strings.Split(topic, "/")
	switch {
	case gatewayOf(topic) != gateway:
		return false
	case levels[0] == tele:
		return true
	case len(levels) == 4:
		return slices.Contains(nodeReadings, levels[2])
	}
	return len(levels) == 5 && slices.Contains(deviceReadings, levels[2])
}

var gatewayName = regexp.MustCompile(`^[A-Za-z0-9._-]{1,64}$`)

// rights are the subjects a gateway may publish and subscribe to.
func rights(gateway string) (publish, subscribe []string) {
	g := strings.ReplaceAll(gateway, ".", "//")
	sp := strings.ReplaceAll(sparkplug, ".", "//")
	publish = []string{tele + "." + g, tele + "." + g + ".>"}
	for _, t := range nodeReadings {
		publish = append(publish, sp+".*."+t+"."+g)
	}
	for _, t := range deviceReadings {
		publish = append(publish, sp+".*."+t+"."+g+".*")
	}
	for _, t := range []string{"NCMD", "DCMD"} {
		subscribe = append(subscribe, sp+".*."+t+"."+g, sp+".*."+t+"."+g+".>")
	}
	return publish, append(subscribe, sp+".STATE.*")
}

package rehearse

import (
	"bufio"
	"io"
	"strconv"

	"plumbhook/sim"
)

// units of the CSV, by what is measured.
var units = map[sim.Quantity]string{
	sim.LegForce: "N", sim.CraneTotal: "N", sim.HookHeight: "m", sim.WindSpeed: "m/s", sim.LoadTilt: "rad",
}

// CSV writes the readings of a run in order of arrival: `t,channel,value_N`,
// or with a unit in every row where the lift has channels that are no forces.
func CSV(w io.Writer, r *Run) error {
	forces := true
	for i := range r.Samples {
		forces = forces && units[r.Samples[i].Of] == "N"
	}
	b := bufio.NewWriter(w)
	head := "t,channel,value_N\n"
	if !forces {
		head = "t,channel,value,unit\n"
	}
	b.WriteString(head)
	var row []byte
	for i := range r.Samples {
		s := &r.Samples[i]
		row = strconv.AppendFloat(row[:0], s.Measured, 'f', 4, 64)
		row = append(row, ',')
		row = append(row, quoted(s.Channel)...)
		row = append(row, ',')
		row = strconv.AppendFloat(row, s.Value, 'f', 4, 64)
		if !forces {
			row = append(row, ',')
			row = append(row, units[s.Of]...)
		}
		b.Write(append(row, '\n'))
	}
	return b.Flush()
}

// quoted is a field as CSV has it (RFC 4180).
func quoted(s string) string {
	for _, c := range s {
		if c == ',' || c == '"' || c == '\n' || c == '\r' {
			out := `"`
			for _, c := range s {
				if c == '"' {
					out += `"`
				}
				out += string(c)
			}
			return out + `"`
		}
	}
	return s
}

package weigh

import "slices"

// Keys are all that a survey file may hold.
var Keys = slices.Concat(rootKeys, siteKeys, cellKeys, placementKeys, tiltKeys, []string{"density", "by", "why"})

package coverage

var straightOfSide, tolShare, sureOf, straightShare = 4e-5, 8e-5, 1.0, 1e-3
var thinOf = 16.0

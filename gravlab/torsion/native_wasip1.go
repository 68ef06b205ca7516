package torsion

import "gravity.example/gravlab/internal/native"

var snap = native.AskFunction[Balance, SnapIn]("torsion.snapIn")

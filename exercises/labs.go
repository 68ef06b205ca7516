package exercises

// labs in the order in which they are taught.
var labs = []Lab{
	firstSteps,
	weighingTheEarth,
	settlingDown,
	massOnASpring,
	howQuiet,
	sideBySide,
	passingPendulum,
	inTheLift,
	doAllThingsFall,
	theEarthBreathes,
	buriedSphere,
	twoTunnels,
	aDayInTheField,
	waterAndIce,
	whatsInTheTruck,
}

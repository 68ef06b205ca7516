package exercises

// labs in the order in which they are taught.
var labs = []Lab{firstSteps, weighingTheEarth, settlingDown, massOnASpring, sideBySide, inTheLift, buriedSphere, aDayInTheField}

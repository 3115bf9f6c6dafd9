"""The assembled stack: members, joints, positions on the axis, outlines, mass."""

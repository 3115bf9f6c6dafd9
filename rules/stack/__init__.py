"""The stack as it is built: members, joints, positions on the axis, outlines, mass."""

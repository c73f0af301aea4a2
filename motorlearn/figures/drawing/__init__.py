"""What every figure stands on.

``levels`` holds the order and the looks of groups, ``style`` the sizes and the drawing, ``labels``
and ``panels`` what keeps texts apart, ``frames`` what a table must have, ``extents`` where texts
end, ``printing`` how a figure becomes bytes.
"""

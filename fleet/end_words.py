"""The ends of a bearing: the codes that the record keeps, and the words a reader sees.

>>> END_WORDS[ENDS[0]], END_WORDS[ENDS[1]]
('pump end', 'outer end')
"""

ENDS = ("in", "out")  # the pump's side, and away from it
END_CODES = (*ENDS, "mid")  # what a station may begin with
END_WORDS = {"in": "pump end", "out": "outer end", "mid": "middle", "": "end not named"}

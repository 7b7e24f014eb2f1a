# Nothing could be seen, and when it can again it is too windy.
start hill coarse
1 min calm
10 min mast silent
  11:02 driver: Check hill: cannot see wind
    The watch cannot see all of it. Take a reading at boom height, or stop.
    Wind unknown: no value to rely on; see to mast.
    Also gust unknown: no value to rely on; see to mast; inversion unknown: no value to rely on; see to mast.
    Job: coarse, about 41 min of spraying left.
    Nobody has reported the wind for 16 min.
  11:02 mate: Mida hill: sin datos de viento. La vigilancia no ve todo. Mida a la altura de la barra o pare. Decide la etiqueta.
  11:07 helper: Check hill: cannot see wind. mate has not acknowledged this for 5 min. Label decides.
3 min windy
  11:12 driver: Stop hill: too windy, 12, max 10 mph
    Stop spraying now.
    Wind 12 mph, at most 10 mph (label): 2 mph over.
    Not inside again as far as the forecast reaches.
    Job: coarse, about 31 min of spraying left.
    Wind measured by mast 1 min ago.
  11:12 mate: Pare hill: demasiado viento, 12 mph. Deje de aplicar ya. Viento 12 mph, maximo 10 mph (etiqueta): 2 mph de mas. Decide la etiqueta.
15 min calm
  11:25 driver: All clear hill: inside for 10 min
    Inside for 10 min.
    Job: coarse, about 18 min of spraying left.
    Wind measured by mast 1 min ago.
  11:25 mate: Puede seguir hill: 10 min dentro. 10 min dentro. Trabajo: coarse, quedan unos 18 min de pulverizacion. Decide la etiqueta.
not (?i)measured again|suitable
most 3 driver
most 3 mate

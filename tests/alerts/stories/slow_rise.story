# The wind rises for long before it crosses its limit: told once before, once when it is there.
start hill coarse
3 min brisk
measured 9.8 11.0
1 min just inside
  11:04 driver: Get ready hill: wind 4 in 10 over 10 mph
    Finish the pass and be ready to stop.
    The wind passes 10 mph within ten minutes with a chance of 4 in 10.
    A gust over 15 mph comes with a chance of less than 1 in 10.
    Job: coarse, about 39 min of spraying left.
    Wind measured by mast 1 min ago.
  11:04 mate: Preparese hill: pronto mucho viento. Termine la pasada y esté listo para parar. Decide la etiqueta.
6 min brisk
1 min windy
  11:11 driver: Stop hill: too windy, 12, max 10 mph
    Stop spraying now.
    Wind 12 mph, at most 10 mph (label): 2 mph over.
    Not inside again as far as the forecast reaches.
    Job: coarse, about 32 min of spraying left.
    Wind measured by mast 1 min ago.
  11:11 mate: Pare hill: demasiado viento, 12 mph. Deje de aplicar ya. Viento 12 mph, maximo 10 mph (etiqueta): 2 mph de mas. Decide la etiqueta.
8 min windy
  11:16 helper: Stop hill: too windy, 12, max 10 mph. mate has not acknowledged this for 5 min. Stop spraying now. Label decides.
11 min calm
  11:30 driver: All clear hill: inside for 10 min
    Inside for 10 min.
    Job: coarse, about 13 min of spraying left.
    Wind measured by mast 1 min ago.
  11:30 mate: Puede seguir hill: 10 min dentro. 10 min dentro. Trabajo: coarse, quedan unos 13 min de pulverizacion. Decide la etiqueta.
not close to
most 3 driver
most 3 mate
most 1 helper

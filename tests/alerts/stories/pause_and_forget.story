# Paused for lunch and forgotten: asked after an hour, then every two, three times in all.
start hill coarse
5 min calm
pause
59 min windy
1 min windy
  12:05 driver: Still paused hill?
    The job on hill has been paused since 11:05.
    Go on with it, finish it or abandon it: until then its sprayer is not free.
  12:05 mate: ¿Sigue en pausa hill? El trabajo en hill esta en pausa desde 11:05. Decide la etiqueta.
120 min calm
  14:05 driver: Still paused hill?
    The job on hill has been paused since 11:05.
    Go on with it, finish it or abandon it: until then its sprayer is not free.
  14:05 mate: ¿Sigue en pausa hill? El trabajo en hill esta en pausa desde 11:05. Decide la etiqueta.
120 min calm
  16:05 driver: Still paused hill?
    The job on hill has been paused since 11:05.
    Go on with it, finish it or abandon it: until then its sprayer is not free.
  16:05 mate: ¿Sigue en pausa hill? El trabajo en hill esta en pausa desde 11:05. Decide la etiqueta.
130 min calm
not Stop hill|Pare hill
not All clear|Puede seguir
most 3 driver
most 3 mate
most 0 helper
